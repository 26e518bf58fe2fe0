"""Is every wrong word on a command line answered in one clear sentence, with nothing changed and no file left?

Wrong usage (a word that is no number, an option that is not there) ends with 2, everything else that cannot be with 1.
"""

from __future__ import annotations

import io
import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from firstsilk.faces.command.main import run
from tests.faces.test_commands_bad_input import TODAY, count_books

pytestmark = pytest.mark.django_db

FILES = {
    "targets.csv": "kind,female,ears\nself,E1,2\n",
    "entries.csv": "entry\nE1\nE2\n",
    "plots.csv": "plot,weight_kg,moisture_pct\n101,7,20\n",
    "verdicts.csv": "line,verdict\nE1,go_on\n",
    "weather.csv": "date,tmin_c,tmax_c\n2031-05-15,5,20\n",
    "kin.csv": "line,mother,father,method\nA,,,founder\n",
    "sown.csv": "row,sown\n3,2031-05-13\n",
    "ears.csv": "row,ears\n1,3\n",
}

STATION = """\
2 plan
1 plan 20x2
1 plan 2031
1 plan 2040
1 plan 99999
1 plan 2031 --sow-from tomorrow
1 plan 2031 --sow-from 9999-12-31
2 plan 2031 --rows-per-range x
1 plan 2031 --add gone.csv
1 plan 2031 --add targets.csv --out {closed}/x.csv
1 sow
1 sow sown.csv --as-planned
1 sow sown.csv --season 2040
1 day --season 2040
1 day --station nowhere
1 day --out {closed}/x.csv
1 day --out list.pdf
1 day --out list.xyz
1 day --out folder
1 day --out no/such/list.csv
2 note
2 note silk
1 note fly 1
1 note silk 99
1 note silk XXXX-XXXX
1 note silk 1 soon
1 note silk 1 2031-12-01
1 note silk 1 2011-12-01
1 note silk 1 --detail tall
1 note rated 1 5
1 note rated 1 12 --detail vigour
1 note rated 1 --detail vigour
1 note stand 1 1e9
1 note stand 1 2.5
1 note stand 1 nan
1 note pollinated 1 3 --detail fly
1 note pollinated 1 3 --detail cross --male 99
1 note remarked 1
1 note remarked 1 {long}
1 note remarked 1 {no_text}
1 note silk 1 --worker ABCDEFGHIJKLMNOP
1 note silk 1 --bag 12345678901234567890
1 note silk 1 --taken 2031-12-01
1 note silk 1 --taken soon
1 note withdrawn 1 x
2 notes --limit 0
2 notes --limit many
1 notes --tag zz
1 success NOPE
2 success --ears -1
1 success --ears 999999999999
2 success --assurance 1
2 success --assurance nan
1 success --ears 3 --out list.xyz
1 harvest
1 harvest --lots --season 2040
1 harvest ears.csv --out list.xyz
1 lots --out list.xyz
1 lot nothing
1 lot {no_text}
1 lot E1-30 --take -5
1 lot E1-30 --take 999999
1 lot E1-30 --take 5 --reason gift
2 lot E1-30 --count -2
1 lot E1-30 --count 999999999999
1 lot E1-30 --take 99999999999999999999
2 lot E1-30 --take 5 --count 7
2 testcross --year next
2 testcross --year 999999999999
2 trial
1 trial NOPE
1 trial FIRST-30 --entries entries.csv
1 trial N --entries entries.csv --site mars
2 trial N --entries entries.csv --reps 0
1 trial N --entries entries.csv --reps 1000000
1 trial N --entries entries.csv --plot-area-m2 -1
1 trial N --entries entries.csv --plot-area-m2 nan
1 trial N --entries entries.csv --kernels-per-plot 0
1 trial N --entries entries.csv --kernels-per-plot 999999999999
2 trial N --entries entries.csv --columns 99999999999999
2 trial N --entries entries.csv --seed 99999999999999999999999
2 trial N --entries entries.csv --year 99999
1 trial {long} --entries entries.csv
1 trial N --entries entries.csv --out list.xyz
1 trial N --entries entries.csv --out {closed}/x.csv
1 packets NOPE
1 packets FIRST-30 --pack
1 packets FIRST-30 --out {closed}/x.pdf
1 packets FIRST-30 --out list.xyz
2 plots
1 plots plots.csv
1 plots plots.csv --trial NOPE
1 plots plots.csv --trial FIRST-30 --out list.xyz
1 plots plots.csv --trial FIRST-30 --out {closed}/x.csv
2 analyse --years last
1 analyse --years 1999
2 analyse --years 99999999999999999999
1 analyse --trait height
1 analyse --show
2 analyse --seed -1
2 analyse --seed 99999999999999999999999
1 analyse --out list.xyz
1 choose --year 1999
2 choose --year 99999999999999999999
2 choose --go-on -1
1 choose --least-erect 2 --year 2030
1 choose --of cow --year 2030
2 choose --accept --verdicts verdicts.csv
2 next-plan --year 99999
2 next-plan --year -1
2 next-plan --year 999999999999999999
1 tags --season 2040
1 tags --out {closed}/x.pdf
1 tags --out folder
1 tags --out no/such/x.pdf
1 tags --out tags.csv
1 walk-book --season 2040
1 walk-book --out folder
1 day-sheet --out folder
1 lot-labels nothing
1 lot-labels --out folder
2 lines --kind cow
1 line nothing
1 line {no_text}
1 season --site mars
1 season --start soon
1 season --start 02-30
1 weather weather.csv --site mars
"""

ALONE = """\
1 bring nowhere
1 bring targets.csv
1 bring folder
1 bring folder --check-only
1 blank-tables targets.csv
1 blank-tables {closed}/x
2 daily weather.csv --least-hours 0
2 heat weather.csv --scale kelvin
2 heat weather.csv
2 heat weather.csv --scale chu --from soon
2 heat weather.csv --scale chu --from 2031-06-01 --to 2031-05-01
1 heat weather.csv --scale chu --from 2035-06-01
2 heat weather.csv --scale chu --gaps maybe
1 heat weather.csv --scale chu --out {closed}/x.csv
1 heat weather.csv --scale chu --out list.xyz
1 heat weather.csv --scale chu --out folder
1 heat weather.csv --scale chu --out no/list.csv
2 frost weather.csv --probability 2
2 frost weather.csv --probability often
2 frost weather.csv --probability nan
2 frost weather.csv --threshold cold
2 frost weather.csv --method guess
2 frost weather.csv --quantile 9
2 seed
2 seed targets.csv
1 seed targets.csv targets.csv
1 seed targets.csv gone.csv
2 seed targets.csv targets.csv --untested 2
2 seed targets.csv targets.csv --untested nan
2 pollinations-needed
1 pollinations-needed targets.csv
2 pollinations-needed targets.csv --assurance 1
2 pollinations-needed targets.csv --spread 0
2 pollinations-needed targets.csv --usable 0
2 pollinations-needed targets.csv --plants-per-row 0
2 plants-needed
2 plants-needed --chance 0
2 plants-needed --chance 2
2 plants-needed --chance half
2 plants-needed --chance 1/0
2 plants-needed --chance 1e-300
2 plants-needed --chance 0.25 --assurance 1
2 plants-needed --chance 0.25 --at-least 0
2 plants-needed --chance 0.25 --at-least many
2 plants-needed --chance 0.25 --germination 0
1 plants-needed --chance 0.000000001
1 plants-needed --chance 0.25 --out list.xyz
2 kernels-needed
1 kernels-needed targets.csv
2 kernels-needed targets.csv --germination 0
2 kernels-needed targets.csv --emergence 1.5
2 kernels-needed targets.csv --overplant -1
2 kernels-needed targets.csv --assurance 1
1 kin kin.csv --pairs pairs.csv --among gone.csv
1 kin kin.csv --pairs {closed}/p.csv
1 kin kin.csv --pairs pairs.xyz
2 kin kin.csv --among kin.csv
2 pedigree
1 pedigree A//
1 pedigree A*0/B
1 pedigree {empty}
2 design
2 design round entries.csv
1 design alpha entries.csv
2 design complete entries.csv --reps 0
1 design complete entries.csv --reps 99999999
1 design complete entries.csv --rows 1 --columns 1
2 design complete entries.csv --columns 99999999999999999999
2 design complete entries.csv --seed -1
1 design complete entries.csv --block-size 1
1 fit plots.csv gone.toml
1 fit plots.csv targets.csv
1 fit plots.csv folder
1 crew demand.csv
2 ability kin.csv
1 ability kin.csv --mother mother --father father --response line --kind diallel
2 ability kin.csv --mother mother --father father --response line --kind guess
2 ability kin.csv --mother mother --father father --response line --kind line-tester --griffing 1
1 stability kin.csv
2 stability kin.csv --gaps guess
2 stability kin.csv --scaling round
2 stability kin.csv --mse low
2 nosuch
"""


def lay_files(folder: Path) -> set[str]:
    for name, text in FILES.items():
        (folder / name).write_text(text)
    (folder / "folder").mkdir()
    return {path.name for path in folder.rglob("*")}


def read_words(line: str) -> tuple[int, list[str]]:
    code, *words = line.split(" ")
    # A folder that takes no files, even from an all-mighty account.
    known = {"closed": "/proc", "long": "A" * 5000, "no_text": "\udcff", "empty": ""}
    return int(code), [word.format(**known) for word in words]


@pytest.mark.parametrize("lines", [STATION, ALONE], ids=["station", "alone"])
def test_wrong_words_are_told_in_a_sentence_and_change_nothing(lines, on, tmp_path, capsys, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    there, before, odd = lay_files(tmp_path), count_books(), []
    for line in lines.splitlines():
        code, words = read_words(line)
        try:
            got = run([*words, *(TODAY if lines is STATION else [])])
        except Exception as fault:
            got = f"{type(fault).__name__}: {str(fault)[:100]}"
        told = capsys.readouterr()
        if got != code or told.out or not told.err.strip() or "Traceback" in told.err:
            odd.append(f"{line}: ended with {got}, said {told.err[-200:]!r}, gave {told.out[:60]!r}")
        if longest := [one for one in told.err.splitlines() if len(one) > 700]:
            odd.append(f"{line}: a sentence of {len(longest[0])} signs")
        if {path.name for path in tmp_path.rglob("*")} != there or count_books() != before:
            odd.append(f"{line}: changed books or folder")
            before = count_books()
    assert odd == []


@pytest.mark.parametrize(
    ("closed", "says"),
    [("stdout", "Standard output is closed"), ("stdin", "standard input: it is closed"), ("disk", "No space left")],
)
def test_closed_ends_of_the_line_are_told_in_a_sentence(closed, says, tmp_path) -> None:
    if closed == "disk" and not Path("/dev/full").exists():
        pytest.skip("this machine has no disk that is always full")
    (tmp_path / "weather.csv").write_text(FILES["weather.csv"])
    redirect = {"stdout": "weather.csv >&-", "stdin": "- <&-", "disk": "weather.csv >/dev/full"}[closed]
    line = f"{shlex.quote(sys.executable)} -m firstsilk heat --scale chu {redirect}"
    done = subprocess.run(["sh", "-c", line], cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 1
    assert says in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_what_goes_out_is_utf_8_whatever_the_machine_speaks(tmp_path) -> None:
    (tmp_path / "weather.csv").write_text("site,date,tmin_c,tmax_c\nŽluť,2031-05-15,5,20\n", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "firstsilk", "heat", "weather.csv", "--scale", "chu"],
        cwd=tmp_path,
        capture_output=True,
        timeout=60,
        check=False,
        env={**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "LC_ALL": "C"},
    )
    assert done.returncode == 0
    assert done.stdout.decode("utf-8").splitlines()[1].startswith("Žluť,2031-05-15,")
