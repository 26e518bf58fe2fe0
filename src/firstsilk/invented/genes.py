"""Which genes does each invented line carry, and what are they truly worth?

Founders of two heterotic groups differ in how often they carry each allele. Every other line gets its genes by
dropping them down the pedigree: whole chromosomes with crossing over, one plant a generation. A trait is a sum over
loci, brought to a range that the trade reports; nothing of it is known to the station.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.invented.dice import roll

FloatArray = NDArray[np.float64]
Genome = NDArray[np.int8]
"""Alleles 0 or 1, (2, loci): one row from each parent."""

CHROMOSOMES = 10
LOCI_A_CHROMOSOME = 14
LOCI = CHROMOSOMES * LOCI_A_CHROMOSOME
CHROMOSOME_MORGAN = 1.5
"""Length of a chromosome [Morgan]; maize maps have 1.3 to 2.5. From memory."""

TRAITS = ("yield", "moisture", "silk", "gap", "lodging", "kernels", "success", "germination")
ALIKE = {
    ("yield", "moisture"): 0.35,
    ("yield", "silk"): 0.35,
    ("moisture", "silk"): 0.60,
    ("lodging", "silk"): -0.30,
    ("kernels", "gap"): -0.30,
    ("kernels", "success"): 0.30,
}
"""Correlations of the loci's effects, ours. Their signs follow the trade: later lines yield more and are wetter,
earlier ones break more easily (Troyer & Brown 1972)."""


@dataclass(frozen=True, slots=True)
class LineTruth:
    """What one line is truly worth; the station only ever sees estimates of it.

    Heat units count from the day after sowing to the day when half the plants have silk or shed [CHU]; `*_frac` are
    shares; the `gca` values are deviations from the mean of the group that the line's hybrids carry on; `lodging_logit`
    adds to the log-odds of a broken stalk.
    """

    name: str
    group: str
    units_to_silk_chu: float
    units_to_shed_chu: float
    kernels_per_ear: float
    success_frac: float
    germination_frac: float
    gca_yield_kg_ha: float
    gca_moisture_pct: float
    lodging_logit: float
    heterozygous_frac: float


GENETIC_VARIANCE_KG2_HA2 = 450.0**2
"""Variance of the true yields of hybrids of one tester; the unit of all other variances. Ours: 5.6 % of the mean."""
GCA_SHARE = 0.8
"""Share of that variance that a line gives to all its hybrids; the rest is specific to one. Ours, no source."""
GCA_YIELD_SD_KG_HA = float(np.sqrt(GCA_SHARE * GENETIC_VARIANCE_KG2_HA2))
SCA_YIELD_SD_KG_HA = float(np.sqrt((1.0 - GCA_SHARE) * GENETIC_VARIANCE_KG2_HA2))
GCA_MOISTURE_SD_PCT = 1.1
SCA_MOISTURE_SD_PCT = 0.4
LODGING_SD_LOGIT = 0.45

SILK_MEAN_CHU = 1300.0
SILK_SD_CHU = 65.0
"""Inbreds. Sown in mid-May they show silk in the second half of July, as very early lines do (from memory)."""
GAP_MEAN_CHU = 55.0
GAP_SD_CHU = 28.0
"""Silk after shed. Released short-season lines have 2 to 6 days (Ottawa, CO457), at about 22 CHU a day."""
VIGOUR_EARLIER_CHU = 90.0
"""How much earlier a cross of two groups shows silk than the mean of its parents. Ours, no source."""
KERNELS_LOW, KERNELS_HIGH = 44.0, 298.0
SUCCESS_LOW, SUCCESS_HIGH = 0.34, 0.83
"""Ranges of lines; means 146.5 kernels and 67.6 %. Thayer & Down 1942."""
GERMINATION_LOW, GERMINATION_HIGH = 0.60, 0.99


@dataclass(frozen=True, slots=True)
class TraitMap:
    """Effects of the loci (loci, traits) and, by group, mean (traits,) and standard deviation (traits,) of lines."""

    effects: FloatArray
    means: Mapping[str, FloatArray]
    sd: FloatArray


def draw_effects(seed: int) -> FloatArray:
    """Effects of each locus on each trait, (loci, traits), alike as `ALIKE` says."""
    alike = np.eye(len(TRAITS))
    for (one, other), value in ALIKE.items():
        alike[TRAITS.index(one), TRAITS.index(other)] = alike[TRAITS.index(other), TRAITS.index(one)] = value
    return roll(seed, "effects").multivariate_normal(np.zeros(len(TRAITS)), alike, LOCI)


def draw_founder(seed: int, name: str, group: str) -> Genome:
    """A fully inbred founder: both rows alike, alleles drawn by how common they are in the group."""
    shared = roll(seed, "alleles").beta(2.0, 2.0, LOCI)
    common = np.clip(shared + roll(seed, "alleles", group).normal(0.0, 0.2, LOCI), 0.1, 0.9)
    alleles = (roll(seed, "founder", name).random(LOCI) < common).astype(np.int8)
    return np.array([alleles, alleles])


def draw_gamete(genome: Genome, dice: np.random.Generator) -> NDArray[np.int8]:
    """One gamete, (loci,): each chromosome starts on either row and changes over at crossings (Haldane 1919).

    Notes
    -----
    Loci lie evenly; between neighbours at d Morgan the chance of recombination is ``(1 - exp(-2d)) / 2``.
    """
    distance = CHROMOSOME_MORGAN / (LOCI_A_CHROMOSOME - 1)
    chance = np.full((CHROMOSOMES, LOCI_A_CHROMOSOME), (1.0 - np.exp(-2.0 * distance)) / 2.0)
    chance[:, 0] = 0.5
    changes = dice.random((CHROMOSOMES, LOCI_A_CHROMOSOME)) < chance
    side = (np.cumsum(changes, axis=1) % 2).ravel()
    return np.asarray(genome[side, np.arange(LOCI)], dtype=np.int8)


def drop_genes(method: str, mother: Genome, father: Genome | None, selfings: int, dice: np.random.Generator) -> Genome:
    """The genes of a plant made from its parents.

    Parameters
    ----------
    method
        ``cross``, ``self`` (`selfings` generations, one plant each) or ``dh``.
    mother, father
        Genomes of the parents; the father counts for a cross only.
    selfings
        Generations of selfing.
    dice
        Decides what is passed on.

    Raises
    ------
    ValueError
        If the method is another, or a cross has no father.
    """
    if method == "dh":
        gamete = draw_gamete(mother, dice)
        return np.array([gamete, gamete])
    if method == "self":
        for _ in range(selfings):
            mother = np.array([draw_gamete(mother, dice), draw_gamete(mother, dice)])
        return mother
    if method != "cross" or father is None:
        raise ValueError(f"genes cannot be dropped by {method!r} with {'a' if father is not None else 'no'} father")
    return np.array([draw_gamete(mother, dice), draw_gamete(father, dice)])


def map_traits(effects: FloatArray, genomes: Mapping[str, Sequence[Genome]]) -> TraitMap:
    """Fix the scale of the traits on the inbreds of each group: mean of the group, pooled standard deviation.

    Parameters
    ----------
    effects
        As `draw_effects` gives them.
    genomes
        The inbreds by group.
    """
    raw = {group: np.array([one.sum(axis=0) for one in many]) @ effects for group, many in genomes.items()}
    means = {group: values.mean(axis=0) for group, values in raw.items()}
    squares = sum(((values - means[group]) ** 2).sum(axis=0) for group, values in raw.items())
    count = sum(len(values) for values in raw.values()) - len(raw)
    return TraitMap(effects, means, np.sqrt(np.asarray(squares, dtype=np.float64) / count))


def value_line(traits: TraitMap, name: str, group: str, genome: Genome) -> LineTruth:
    """What a line of one group is truly worth.

    Notes
    -----
    Shares and counts are brought into their published ranges by a logistic curve whose middle is the published mean.
    """
    raw = genome.sum(axis=0) @ traits.effects
    z = dict(zip(TRAITS, ((raw - traits.means[group]) / traits.sd).tolist(), strict=True))
    mixed = float(np.mean(genome[0] != genome[1]))
    silk = SILK_MEAN_CHU + SILK_SD_CHU * z["silk"] - VIGOUR_EARLIER_CHU * mixed
    kernels = z["kernels"] + 2.0 * mixed
    return LineTruth(
        name=name,
        group=group,
        units_to_silk_chu=silk,
        units_to_shed_chu=silk - GAP_MEAN_CHU - GAP_SD_CHU * z["gap"],
        kernels_per_ear=_between(KERNELS_LOW, KERNELS_HIGH, -0.42 + 0.9 * kernels),
        success_frac=_between(SUCCESS_LOW, SUCCESS_HIGH, 0.9 + 1.1 * z["success"]),
        germination_frac=_between(GERMINATION_LOW, GERMINATION_HIGH, 2.2 + 0.8 * z["germination"]),
        gca_yield_kg_ha=GCA_YIELD_SD_KG_HA * z["yield"],
        gca_moisture_pct=GCA_MOISTURE_SD_PCT * z["moisture"],
        lodging_logit=LODGING_SD_LOGIT * z["lodging"],
        heterozygous_frac=mixed,
    )


def _between(low: float, high: float, at: float) -> float:
    return float(low + (high - low) / (1.0 + np.exp(-at)))


@dataclass(frozen=True, slots=True)
class HybridTruth:
    """What one hybrid of two groups is truly worth at a mean site in a mean year.

    `yield_kg_ha` is grain at 15.5 % moisture and the sum of the overall mean, both parents' general combining ability
    and the specific remainder `sca_yield_kg_ha`; so is `moisture_pct` at harvest. `lodging_logit` is the log-odds of a
    broken stalk.
    """

    name: str
    mother: str
    father: str
    yield_kg_ha: float
    sca_yield_kg_ha: float
    moisture_pct: float
    lodging_logit: float
    units_to_silk_chu: float
    units_to_shed_chu: float
    units_to_black_layer_chu: float
    germination_frac: float


FILLING_CHU = 1080.0
FILLING_CHU_PER_POINT = 18.0
FILLING_SD_CHU = 20.0
"""Units of a hybrid from silk to black layer: mean, more for each point that it is wetter at harvest than others, and
what is its own. Ours, so that hybrids need about 2,150 to 2,450 CHU; about 1,100 of 2,300 (Nadler) is the mean."""
HYBRID_YIELD_KG_HA = 8000.0
HYBRID_MOISTURE_PCT = 25.0
HYBRID_LODGING_LOGIT = -3.3
HYBRID_GERMINATION_FRAC = 0.95
"""Means of hybrids, ours: a short-season yield level, grain combined wet, about 4 % broken stalks, sound seed."""


def _filling_units(seed: int, one: str, other: str, mother: LineTruth, father: LineTruth) -> float:
    """Units from silk to black layer of a hybrid of lines `one` and `other` in order of their names [CHU]."""
    own = FILLING_SD_CHU * float(roll(seed, "filling", one, other).normal())
    return FILLING_CHU + FILLING_CHU_PER_POINT * (mother.gca_moisture_pct + father.gca_moisture_pct) + own


def value_hybrid(seed: int, name: str, mother: LineTruth, father: LineTruth) -> HybridTruth:
    """What a cross of two lines of different groups is truly worth; a cross and its reciprocal are worth the same."""
    one, other = sorted((mother.name, father.name))
    specific = roll(seed, "sca", one, other).normal(size=2)
    sca = float(SCA_YIELD_SD_KG_HA * specific[0])
    silk = (mother.units_to_silk_chu + father.units_to_silk_chu) / 2.0 - VIGOUR_EARLIER_CHU
    shed = (mother.units_to_shed_chu + father.units_to_shed_chu) / 2.0 - VIGOUR_EARLIER_CHU
    return HybridTruth(
        name=name,
        mother=mother.name,
        father=father.name,
        yield_kg_ha=HYBRID_YIELD_KG_HA + mother.gca_yield_kg_ha + father.gca_yield_kg_ha + sca,
        sca_yield_kg_ha=sca,
        moisture_pct=HYBRID_MOISTURE_PCT
        + mother.gca_moisture_pct
        + father.gca_moisture_pct
        + float(SCA_MOISTURE_SD_PCT * specific[1]),
        lodging_logit=HYBRID_LODGING_LOGIT + mother.lodging_logit + father.lodging_logit,
        units_to_silk_chu=silk,
        units_to_shed_chu=shed,
        units_to_black_layer_chu=silk + _filling_units(seed, one, other, mother, father),
        germination_frac=HYBRID_GERMINATION_FRAC,
    )
