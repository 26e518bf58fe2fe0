"""Which markers and which samples can be relied on?

A table of markers holds, for each sample and marker, how many copies of one named allele were read: 0, 1, 2, or none
where the reading failed. Which of the two alleles is counted changes no relationship and no prediction.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse

MISSING = -1
"""What stands in `doses` where nothing was read."""
CHUNK = 2_048
"""Markers worked on at a time: 5,000 samples of so many take 41 MB in single precision. Our own choice."""

Doses = NDArray[np.int8]
Numbers = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class MarkerTable:
    """Copies of the counted allele [0, 1, 2 or MISSING], shape (samples, markers), with the names of both."""

    samples: tuple[str, ...]
    markers: tuple[str, ...]
    doses: Doses

    def find(self, sample: str) -> Doses:
        """The doses of one sample, shape (markers,); a `KeyError` if it is not there."""
        if sample not in self.samples:
            raise KeyError(sample)
        found: Doses = self.doses[self.samples.index(sample)]
        return found


@dataclass(frozen=True, slots=True)
class MarkerQuality:
    """Call rate, heterozygosity and allele frequency [0 to 1]; NaN where nothing was read.

    By sample: `sample_called` (n,) counts, `sample_heterozygous` (n,) counts. By marker: `marker_called` (p,),
    `marker_heterozygous` (p,) counts, `frequency` (p,) of the counted allele.
    """

    samples: tuple[str, ...]
    markers: tuple[str, ...]
    sample_called: NDArray[np.int64]
    sample_heterozygous: NDArray[np.int64]
    marker_called: NDArray[np.int64]
    marker_heterozygous: NDArray[np.int64]
    frequency: Numbers

    @property
    def minor_frequency(self) -> Numbers:
        """Frequency of the rarer allele of each marker [0 to 0.5], shape (p,)."""
        return np.minimum(self.frequency, 1.0 - self.frequency)

    @property
    def sample_call_rate(self) -> Numbers:
        """Share of the markers read in each sample, shape (n,)."""
        return self.sample_called / len(self.markers)

    @property
    def marker_call_rate(self) -> Numbers:
        """Share of the samples in which each marker was read, shape (p,)."""
        return self.marker_called / len(self.samples)

    @property
    def sample_heterozygosity(self) -> Numbers:
        """Share of the markers read in a sample that hold both alleles, shape (n,)."""
        return share_of(self.sample_heterozygous, self.sample_called)

    @property
    def marker_heterozygosity(self) -> Numbers:
        """Share of the samples read at a marker that hold both alleles, shape (p,)."""
        return share_of(self.marker_heterozygous, self.marker_called)


def walk_chunks(markers: int, size: int = CHUNK) -> Iterator[slice]:
    """The markers in pieces of at most `size`, as slices."""
    return (slice(start, min(start + size, markers)) for start in range(0, markers, size))


def share_of(part: NDArray[np.int64], whole: NDArray[np.int64]) -> Numbers:
    """Part by whole, element by element; NaN where the whole is 0."""
    shares = np.full(whole.shape, np.nan)
    np.divide(part, whole, out=shares, where=whole > 0)
    return shares


def judge_markers(table: MarkerTable) -> MarkerQuality:
    """Call rate and heterozygosity by sample and by marker, and allele frequencies.

    Parameters
    ----------
    table
        n samples by p markers, both at least 1.

    Returns
    -------
    MarkerQuality
        Counts by sample (n,) and by marker (p,), and the frequency (p,) of the counted allele.

    Raises
    ------
    InputRefused
        If the table holds no sample or no marker.

    Notes
    -----
    Frequency = sum of doses / (2 x samples read). One plant stands for its line, so the frequency is that among the
    plants read, each counted once.

    Checked by
    ----------
    tests/outside/test_markers_published.py; a slow count in tests/science/test_markers.py
    """
    n, p = table.doses.shape
    if not n or not p:
        raise refuse("no_markers", "There is no sample or no marker here.", "Give a table with both.")
    called, mixed, copies = (np.zeros(p, dtype=np.int64) for _ in range(3))
    sample_called, sample_mixed = (np.zeros(n, dtype=np.int64) for _ in range(2))
    for part in walk_chunks(p):
        doses = table.doses[:, part]
        read, heterozygous = doses >= 0, doses == 1
        called[part] = read.sum(axis=0)
        mixed[part] = heterozygous.sum(axis=0)
        copies[part] = np.where(read, doses, 0).sum(axis=0, dtype=np.int64)
        sample_called += read.sum(axis=1)
        sample_mixed += heterozygous.sum(axis=1)
    frequency = share_of(copies, 2 * called)
    return MarkerQuality(table.samples, table.markers, sample_called, sample_mixed, called, mixed, frequency)


def keep_markers(
    table: MarkerTable, quality: MarkerQuality, least_call_rate: float = 0.0, least_minor_frequency: float = 0.0
) -> MarkerTable:
    """The table with only those markers that were read often enough and are not too rare.

    Parameters
    ----------
    table, quality
        The markers, and what `judge_markers` says of them.
    least_call_rate
        Share of the samples in which a marker must have been read [0 to 1].
    least_minor_frequency
        Frequency that the rarer allele must have [0 to 0.5]. Markers without a reading are always left out.

    Raises
    ------
    InputRefused
        If no marker is left.

    Checked by
    ----------
    tests/science/test_markers.py
    """
    kept = quality.marker_called > 0
    kept &= quality.marker_call_rate >= least_call_rate
    kept &= np.nan_to_num(quality.minor_frequency, nan=-1.0) >= least_minor_frequency
    if not kept.any():
        raise refuse(
            "no_marker_left",
            f"None of the {len(kept)} markers has a call rate of {least_call_rate:g} and a rarer allele with a "
            f"frequency of {least_minor_frequency:g}.",
            "Lower one of the two.",
        )
    if kept.all():
        return table
    names = tuple(name for name, keep in zip(table.markers, kept, strict=True) if keep)
    return MarkerTable(table.samples, names, table.doses[:, kept])


def pick_samples(table: MarkerTable, samples: Sequence[str]) -> MarkerTable:
    """The table with only these samples, in this order; a `KeyError` if one is not there.

    Checked by
    ----------
    tests/science/test_markers.py
    """
    place = {name: at for at, name in enumerate(table.samples)}
    return MarkerTable(tuple(samples), table.markers, table.doses[[place[name] for name in samples]])
