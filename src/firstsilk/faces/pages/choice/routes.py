"""Which addresses lead into the choice room?"""

from firstsilk.faces.pages.desk import desk_page
from firstsilk.faces.pages.unbuilt import show_unbuilt
from firstsilk.work.accounts import READERS

routes = [
    desk_page("choice/", show_unbuilt, "choice", read=READERS),
]
