"""Which addresses lead into the seed room?"""

from firstsilk.faces.pages.desk import desk_page
from firstsilk.faces.pages.seed.bench import show_bench
from firstsilk.faces.pages.seed.store_views import show_store
from firstsilk.faces.pages.seed.success_views import show_success
from firstsilk.faces.pages.seed.views import (
    enter_received,
    give_blank_harvest,
    make_season_lots,
    print_labels,
    show_harvest,
    show_lot,
    show_lots,
)
from firstsilk.work.accounts import CREW, DESK, NOBODY, READERS

routes = [
    desk_page("seed/", show_lots, "seed", read=READERS),
    desk_page("seed/lots/<path:tag>/", show_lot, "lot", read=READERS, change=DESK),
    desk_page("seed/receive/", enter_received, "receive-lot", read=DESK, change=DESK),
    desk_page("seed/bench/", show_bench, "seed-bench", read=DESK, change=DESK),
    desk_page("seed/store/", show_store, "seed-store", read=READERS, change=DESK),
    desk_page("seed/harvest/", show_harvest, "harvest", read=READERS, change=CREW),
    desk_page("seed/harvest/lots/", make_season_lots, "make-lots", read=NOBODY, change=DESK),
    desk_page("seed/harvest/harvest.csv", give_blank_harvest, "blank-harvest", read=READERS),
    desk_page("seed/success/", show_success, "success", read=READERS),
    desk_page("seed/lot-labels.pdf", print_labels, "lot-labels", read=CREW),
]
