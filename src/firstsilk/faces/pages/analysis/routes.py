"""Which addresses lead into the analysis room?"""

from firstsilk.faces.pages.analysis.views import show_analysis
from firstsilk.faces.pages.desk import desk_page
from firstsilk.work.accounts import DESK, READERS

routes = [
    desk_page("analysis/", show_analysis, "analysis", read=READERS, change=DESK),
]
