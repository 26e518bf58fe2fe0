"""Which addresses lead into the seed room?"""

from firstsilk.faces.pages.desk import desk_page
from firstsilk.faces.pages.seed.bench import show_bench
from firstsilk.faces.pages.seed.harvest_views import print_crate_tags, print_picks, show_crates, show_ears, show_picks
from firstsilk.faces.pages.seed.set_views import show_set
from firstsilk.faces.pages.seed.shelling import show_shelling
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
    desk_page("seed/pick/", show_picks, "picks", read=READERS, change=CREW),
    desk_page("seed/pick-list.pdf", print_picks, "picks-print", read=CREW),
    desk_page("seed/ears/", show_ears, "ears", read=READERS),
    desk_page("seed/crates/", show_crates, "crates", read=READERS, change=CREW),
    desk_page("seed/crate-tags.pdf", print_crate_tags, "crate-tags", read=NOBODY, change=CREW),
    desk_page("seed/shelling/", show_shelling, "shelling", read=DESK, change=DESK),
    desk_page("seed/success/", show_success, "success", read=READERS),
    desk_page("seed/set/", show_set, "set-causes", read=READERS),
    desk_page("seed/lot-labels.pdf", print_labels, "lot-labels", read=CREW),
]
