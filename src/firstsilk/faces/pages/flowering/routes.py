"""Which addresses lead into the flowering room?"""

from firstsilk.faces.pages.desk import desk_page
from firstsilk.faces.pages.unbuilt import show_unbuilt
from firstsilk.work.accounts import CREW, READERS

routes = [
    desk_page("flowering/", show_unbuilt, "flowering", read=READERS),
    desk_page("flowering/phones/", show_unbuilt, "devices", read=CREW),
]
