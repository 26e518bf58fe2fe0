"""What needs doing now, and who is at the desk?"""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import login, logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme

from firstsilk.work.accounts import add_account, close_account, list_accounts, sign_in, wait_before_next_try_s
from firstsilk.work.home import list_due
from firstsilk.work.occasion import Occasion
from firstsilk.work.station import hold_day

ROLES = (
    ("breeder", "breeder: everything"),
    ("technician", "technician: plans, seed, trials, data in"),
    ("crew_leader", "crew leader: the day list, phones, notes"),
    ("cooperator", "cooperator: reads only"),
)


def show_home(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The home page, or a change of an invented station's day."""
    if request.method == "POST":
        from firstsilk.faces.pages.forms import read_form_day

        hold_day(on, read_form_day(request, "held"))
        return redirect("home")
    return render(request, "home/home.html", {"due": list_due(on, request.user.role), "on": on})


def show_accounts(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The accounts of the station; a new one, or the end of one."""
    if request.method == "POST":
        if "close" in request.POST:
            close_account(on, request.POST["close"])
            messages.success(request, f"The account {request.POST['close']} is closed.")
        else:
            made = add_account(
                on, request.POST.get("name", ""), request.POST.get("password", ""), request.POST.get("role", "")
            )
            messages.success(request, f"{made.name} may now sign in as {made.role.replace('_', ' ')}.")
        return redirect("accounts")
    return render(request, "home/accounts.html", {"accounts": list_accounts(on), "roles": ROLES})


def show_sign_in(request: HttpRequest) -> HttpResponse:
    """The sign-in page; guessing gets slower with each failure."""
    goal = request.POST.get("next") or request.GET.get("next") or "/"
    if not url_has_allowed_host_and_scheme(goal, {request.get_host()}):
        goal = "/"
    told: dict[str, object] = {"next": goal}
    if request.method == "POST":
        name, now = request.POST.get("name", ""), timezone.now()
        wait = wait_before_next_try_s(name, now)
        account = sign_in(name, request.POST.get("password", ""), now)
        if account is not None:
            login(request, account)
            return redirect(goal)
        problem = "Name and password do not fit."
        if wait > 0:
            problem = f"Too many tries for this name. Wait {wait:.0f} seconds and try again."
        told |= {"name": name, "problem": problem}
    return render(request, "sign_in.html", told, status=200 if "problem" not in told else 403)


def sign_out(request: HttpRequest) -> HttpResponse:
    """End the session, by POST only."""
    if request.method == "POST":
        logout(request)
    return redirect("sign-in")
