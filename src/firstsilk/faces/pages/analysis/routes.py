"""Which addresses lead into the analysis room?"""

from firstsilk.faces.pages.analysis.combining_views import show_combining
from firstsilk.faces.pages.analysis.field_views import show_field
from firstsilk.faces.pages.analysis.series_views import print_series, show_series
from firstsilk.faces.pages.analysis.together_views import show_together
from firstsilk.faces.pages.analysis.views import show_analysis
from firstsilk.faces.pages.desk import desk_page
from firstsilk.work.accounts import DESK, READERS

routes = [
    desk_page("analysis/", show_analysis, "analysis", read=READERS, change=DESK),
    desk_page("analysis/combining/", show_combining, "analysis-combining", read=READERS),
    desk_page("analysis/together/", show_together, "analysis-together", read=READERS),
    desk_page("analysis/field/of/<path:name>/", show_field, "analysis-field", read=READERS),
    desk_page("analysis/series/of/<path:name>/report.pdf", print_series, "analysis-report", read=READERS),
    desk_page("analysis/series/of/<path:name>/", show_series, "analysis-series", read=READERS),
]
