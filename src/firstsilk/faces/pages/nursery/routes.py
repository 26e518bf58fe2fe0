"""Which addresses lead into the nursery room?"""

from firstsilk.faces.pages.desk import desk_page
from firstsilk.faces.pages.nursery.views import (
    give_blank_table,
    print_sowing_calendar,
    print_tags,
    print_walk_book,
    show_nursery,
    show_plan,
    show_sowing,
    show_sowing_dates,
    start_season,
)
from firstsilk.work.accounts import CREW, DESK, NOBODY, READERS

routes = [
    desk_page("nursery/", show_nursery, "nursery", read=READERS),
    desk_page("nursery/season/", start_season, "open-season", read=NOBODY, change=DESK),
    desk_page("nursery/plan/", show_plan, "nursery-plan", read=READERS, change=DESK),
    desk_page("nursery/sowing/", show_sowing, "sowing", read=READERS, change=CREW),
    desk_page("nursery/sowing-dates/", show_sowing_dates, "sowing-dates", read=READERS),
    desk_page("nursery/sowing-calendar.pdf", print_sowing_calendar, "sowing-calendar", read=CREW),
    desk_page("nursery/blank/<slug:which>.csv", give_blank_table, "blank-nursery-table", read=READERS),
    desk_page("nursery/row-tags.pdf", print_tags, "row-tags", read=CREW),
    desk_page("nursery/walk-book.pdf", print_walk_book, "walk-book", read=CREW),
]
