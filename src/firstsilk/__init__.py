"""firstsilk: breed early maize, from the plan to the decision."""

__version__ = "0.1.0"
