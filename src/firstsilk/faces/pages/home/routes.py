"""Which addresses lead to the home page and the sign-in?"""

from firstsilk.faces.pages.desk import desk_page, open_page
from firstsilk.faces.pages.home.auditing import show_audit
from firstsilk.faces.pages.home.bringing import give_blank_table, show_bring
from firstsilk.faces.pages.home.jobs import show_job, show_jobs
from firstsilk.faces.pages.home.views import show_accounts, show_home, show_sign_in, sign_out
from firstsilk.work.accounts import CREW, DECIDERS, DESK, READERS

routes = [
    desk_page("", show_home, "home", read=READERS, change=DECIDERS),
    desk_page("accounts/", show_accounts, "accounts", read=DECIDERS, change=DECIDERS),
    desk_page("audit/", show_audit, "audit", read=READERS),
    desk_page("bring/", show_bring, "bring", read=DESK, change=DESK),
    desk_page("bring/blank/<slug:table>.csv", give_blank_table, "blank-table", read=DESK),
    desk_page("jobs/", show_jobs, "jobs", read=CREW),
    desk_page("jobs/<int:number>/", show_job, "job", read=CREW, change=DESK),
    open_page("sign-in/", show_sign_in, "sign-in"),
    open_page("sign-out/", sign_out, "sign-out"),
]
