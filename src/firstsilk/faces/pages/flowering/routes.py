"""Which addresses lead into the flowering room?"""

from firstsilk.faces.pages.desk import desk_page
from firstsilk.faces.pages.flowering.closing import show_day_close, show_to_settle
from firstsilk.faces.pages.flowering.crew_views import show_crew, show_cutoff, show_supplies, show_window
from firstsilk.faces.pages.flowering.day_list import print_day_sheet, show_flowering
from firstsilk.faces.pages.flowering.morning import show_morning
from firstsilk.faces.pages.flowering.paper_views import (
    find_paper_row,
    key_paper,
    print_paper,
    settle_paper,
    show_paper,
)
from firstsilk.faces.pages.flowering.people_views import show_people
from firstsilk.faces.pages.flowering.phones import give_root_certificate, show_phones
from firstsilk.faces.pages.flowering.quality_views import show_work_quality
from firstsilk.faces.pages.flowering.spray_views import show_sprays
from firstsilk.faces.pages.flowering.target_views import show_targets
from firstsilk.faces.pages.flowering.views import (
    find_row_page,
    show_notes,
    show_row,
    write_note,
)
from firstsilk.work.accounts import CREW, DESK, LEADERS, NOBODY, READERS

routes = [
    desk_page("season/", show_morning, "season", read=READERS),
    desk_page("flowering/", show_flowering, "flowering", read=READERS),
    desk_page("flowering/rows/", find_row_page, "find-row", read=READERS),
    desk_page("flowering/rows/<str:tag>/", show_row, "row", read=READERS, change=CREW),
    desk_page("flowering/note/", write_note, "write-note", read=NOBODY, change=CREW),
    desk_page("flowering/notes/", show_notes, "notes", read=READERS),
    desk_page("flowering/day-sheet.pdf", print_day_sheet, "day-sheet", read=CREW),
    desk_page("flowering/targets/", show_targets, "targets", read=READERS),
    desk_page("flowering/crew/", show_crew, "crew", read=READERS, change=CREW),
    desk_page("flowering/window/", show_window, "window", read=READERS),
    desk_page("flowering/supplies/", show_supplies, "supplies", read=READERS),
    desk_page("flowering/cutoff/", show_cutoff, "cutoff", read=READERS, change=DESK),
    desk_page("flowering/people/", show_people, "people", read=LEADERS, change=LEADERS),
    desk_page("flowering/work/", show_work_quality, "work-quality", read=LEADERS),
    desk_page("flowering/sprays/", show_sprays, "sprays", read=READERS, change=CREW),
    desk_page("flowering/paper/", show_paper, "paper", read=CREW, change=CREW),
    desk_page("flowering/paper/print/", print_paper, "paper-print", read=NOBODY, change=CREW),
    desk_page("flowering/paper/row/", find_paper_row, "paper-row", read=CREW),
    desk_page("flowering/paper/<str:sheet>/", key_paper, "paper-key", read=CREW, change=CREW),
    desk_page("flowering/paper/<str:sheet>/settle/", settle_paper, "paper-settle", read=CREW, change=CREW),
    desk_page("flowering/close/", show_day_close, "day-close", read=CREW, change=CREW),
    desk_page("flowering/settle/", show_to_settle, "settle", read=CREW, change=CREW),
    desk_page("flowering/phones/root.crt", give_root_certificate, "root-certificate", read=CREW),
    desk_page("flowering/phones/", show_phones, "devices", read=CREW, change=CREW),
]
