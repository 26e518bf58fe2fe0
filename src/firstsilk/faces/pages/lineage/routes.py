"""Which addresses lead into the lineage room?"""

from firstsilk.faces.pages.desk import desk_page
from firstsilk.faces.pages.lineage.foretelling import show_untested
from firstsilk.faces.pages.lineage.marking import show_markers
from firstsilk.faces.pages.lineage.merging import show_merge, show_names
from firstsilk.faces.pages.lineage.views import show_kinship, show_line, show_lines, show_new_line
from firstsilk.faces.pages.lineage.written import show_written
from firstsilk.work.accounts import DECIDERS, DESK, READERS

routes = [
    desk_page("lineage/", show_lines, "lineage", read=READERS),
    desk_page("lineage/kinship/", show_kinship, "lineage-kinship", read=READERS),
    desk_page("lineage/written/", show_written, "lineage-written", read=READERS),
    desk_page("lineage/new/", show_new_line, "lineage-new", read=DESK, change=DESK),
    desk_page("lineage/names/", show_names, "lineage-names", read=READERS, change=DESK),
    desk_page("lineage/merge/", show_merge, "lineage-merge", read=DECIDERS, change=DECIDERS),
    desk_page("lineage/markers/", show_markers, "lineage-markers", read=READERS, change=DESK),
    desk_page("lineage/untested/", show_untested, "lineage-untested", read=READERS, change=DESK),
    desk_page("lineage/line/<path:name>/", show_line, "lineage-line", read=READERS),
]
