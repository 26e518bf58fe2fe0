"""Which addresses lead into the analysis room?"""

from firstsilk.faces.pages.desk import desk_page
from firstsilk.faces.pages.unbuilt import show_unbuilt
from firstsilk.work.accounts import READERS

routes = [
    desk_page("analysis/", show_unbuilt, "analysis", read=READERS),
]
