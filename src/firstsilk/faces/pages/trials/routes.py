"""Which addresses lead into the trials room?"""

from firstsilk.faces.pages.desk import desk_page
from firstsilk.faces.pages.trials.quality import show_quality
from firstsilk.faces.pages.trials.views import (
    give_data_sheet,
    give_packets,
    print_packets,
    show_new_trial,
    show_packets,
    show_received,
    show_testcrosses,
    show_trial,
    show_trials,
)
from firstsilk.work.accounts import DESK, READERS

routes = [
    desk_page("trials/", show_trials, "trials", read=READERS),
    desk_page("trials/new/", show_new_trial, "new-trial", read=DESK, change=DESK),
    desk_page("trials/testcrosses/", show_testcrosses, "testcrosses", read=READERS),
    desk_page("trials/of/<path:name>/packets.csv", give_packets, "packets-table", read=READERS),
    desk_page("trials/of/<path:name>/packets.pdf", print_packets, "packets-print", read=READERS),
    desk_page("trials/of/<path:name>/data-sheet.csv", give_data_sheet, "data-sheet", read=READERS),
    desk_page("trials/of/<path:name>/packets/", show_packets, "packets", read=READERS, change=DESK),
    desk_page("trials/of/<path:name>/data/", show_received, "plot-data", read=DESK, change=DESK),
    desk_page("trials/of/<path:name>/quality/", show_quality, "plot-quality", read=READERS),
    desk_page("trials/of/<path:name>/", show_trial, "trial", read=READERS),
]
