"""Pictures as Vega-Lite specifications, plain dictionaries: the same in a page, a report and a notebook.

Nothing here needs Django, so a notebook can import it.
"""
