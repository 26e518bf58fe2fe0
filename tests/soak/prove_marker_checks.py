"""Do checks by markers refute no more true claims than they state, and find what is false?

Run by ``make soak``; prints the tables of docs/markers.md.
"""

from __future__ import annotations

from tests.soak.judge_marker_checks import FALSE, TRUE, count_refuted, tell

SIZES = (50, 100, 300, 1_000)


def test_true_claims_are_refuted_once_in_a_thousand_or_less(capsys):
    shares = {markers: count_refuted(TRUE, markers, 2_000) for markers in SIZES}
    with capsys.disabled():
        print("\n" + tell(shares), flush=True)
    # 2,000 tries at 0.001: 2 expected; 8 or more once in a thousand such tests.
    assert max(share for found in shares.values() for share in found.values()) <= 7 / 2_000


def test_false_claims_are_found(capsys):
    shares = {markers: count_refuted(FALSE, markers, 500) for markers in SIZES}
    with capsys.disabled():
        print("\n" + tell(shares), flush=True)
    assert min(shares[1_000].values()) >= 0.95
    for name in ("identity: another line", "cross: a self of the mother", "cross: another father"):
        assert shares[100][name] >= 0.98
