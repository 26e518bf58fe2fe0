"""A thousand kills of a receiving server: no acknowledged note is lost, none is stored twice.

FIRSTSILK_KILLS  how many (default 1,000). No loss in n kills bounds the share of kills that lose one at 3/n (95 %).
"""

from __future__ import annotations

import os
from pathlib import Path

from tests.journeys.serving import StationServer, WarmServer
from tests.journeys.test_kill_server import check_told, kill_and_count

KILLS = int(os.environ.get("FIRSTSILK_KILLS", "1000"))
SERVED_KILLS = max(1, KILLS // 20)


def test_no_acknowledged_note_is_lost_in_a_thousand_kills(tmp_path: Path) -> None:
    server = WarmServer(tmp_path / "books")
    try:
        check_told(kill_and_count(server, KILLS, longest_s=0.15), KILLS)
    finally:
        server.close()


def test_nor_where_the_server_of_a_station_in_use_is_killed(tmp_path: Path) -> None:
    check_told(kill_and_count(StationServer(tmp_path / "books"), SERVED_KILLS), SERVED_KILLS)
