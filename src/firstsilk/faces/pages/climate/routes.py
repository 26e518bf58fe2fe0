"""Which addresses lead into the climate room?"""

from firstsilk.faces.pages.climate.feeds import show_feeds
from firstsilk.faces.pages.climate.ripening import show_ripening
from firstsilk.faces.pages.climate.views import show_climate
from firstsilk.faces.pages.desk import desk_page
from firstsilk.work.accounts import DESK, READERS

routes = [
    desk_page("climate/", show_climate, "climate", read=READERS, change=DESK),
    desk_page("climate/feeds/", show_feeds, "climate-feeds", read=DESK, change=DESK),
    desk_page("climate/ripening/", show_ripening, "climate-ripening", read=READERS),
]
