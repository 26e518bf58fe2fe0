"""Which addresses lead into the choice room?"""

from firstsilk.faces.pages.choice.views import show_choice, show_next_plan
from firstsilk.faces.pages.desk import desk_page
from firstsilk.work.accounts import DECIDERS, READERS

routes = [
    desk_page("choice/", show_choice, "choice", read=READERS, change=DECIDERS),
    desk_page("choice/next/", show_next_plan, "next-plan", read=READERS, change=DECIDERS),
]
