"""Does a form that is not accepted lead back to the work?"""

from __future__ import annotations

from django.test import Client

from firstsilk.work.accounts import add_account


def test_form_without_its_token_is_told_and_changes_nothing(on) -> None:
    add_account(on, "ada", "a long enough secret", "breeder")
    client = Client(enforce_csrf_checks=True)
    assert client.login(username="ada", password="a long enough secret")
    answer = client.post("/", {"held": "2031-07-20"})
    page = answer.content.decode()
    assert answer.status_code == 403
    assert "nothing was changed" in page
    assert "What needs doing now" in page
