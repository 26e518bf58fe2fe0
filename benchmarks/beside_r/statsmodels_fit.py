"""How long does one fit take with statsmodels? Run by a Python that has it; speaks as the R scripts do.

Words: records.csv small.csv kind (series, nested).
"""

import os
import re
import resource
import sys
import time
import warnings
from pathlib import Path

try:
    import pandas
    import statsmodels
    from statsmodels.regression.mixed_linear_model import MixedLM
except ImportError:
    print("absent=statsmodels")
    sys.exit(3)


def fit(path):
    """One fit: result, seconds, seconds of the processor. Crossed terms are variance components of one whole group."""
    records = pandas.read_csv(path)
    records["cell"] = records["line"] + ":" + records["site"]
    begun, busy = time.perf_counter(), time.process_time()
    if sys.argv[3] == "series":
        records["whole"] = 1
        parts = {name: f"0 + C({name})" for name in ("line", "cell", "rep", "block")}
        made = MixedLM.from_formula("y ~ C(site)", records, groups="whole", vc_formula=parts, re_formula="0")
    else:
        made = MixedLM.from_formula("y ~ C(rep)", records, groups="line", vc_formula={"cell": "0 + C(site)"})
    found = made.fit(reml=True)
    return found, time.perf_counter() - begun, time.process_time() - busy


assert os.environ.get("OPENBLAS_NUM_THREADS"), "OPENBLAS_NUM_THREADS is not set"
warnings.simplefilter("ignore")
fit(sys.argv[2])
found, seconds, busy = fit(sys.argv[1])
status = Path("/proc/self/status")
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
if status.exists():
    peak = int(re.search(r"VmHWM:\s+(\d+)", status.read_text()).group(1)) / 1024
print(f"program=statsmodels {statsmodels.__version__}")
print(f"criterion={-2 * float(found.llf)!r}\nseconds={seconds!r}\ncpu_seconds={busy!r}\npeak_mb={peak!r}")
