"""Which addresses lead into the trials room?"""

from firstsilk.faces.pages.desk import desk_page
from firstsilk.faces.pages.unbuilt import show_unbuilt
from firstsilk.work.accounts import READERS

routes = [
    desk_page("trials/", show_unbuilt, "trials", read=READERS),
]
