"""Which addresses lead into the climate room?"""

from firstsilk.faces.pages.desk import desk_page
from firstsilk.faces.pages.unbuilt import show_unbuilt
from firstsilk.work.accounts import READERS

routes = [
    desk_page("climate/", show_unbuilt, "climate", read=READERS),
]
