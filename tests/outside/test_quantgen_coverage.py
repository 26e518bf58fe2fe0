"""Which published cases of quantitative genetics are covered, and which not yet, by topic?

The cases themselves stand in `test_lineage.py`, `test_fit_published.py`, `test_fit_outside_data.py`,
`test_ground_published.py`, `test_reference_values.py`, `test_design_published.py`, `test_stability_published.py`,
`test_ability_published.py`, `test_markers_published.py` and `test_agronomy*.py`. Here every topic of the published
table must be named once: as covered whole, covered in part with what is left, or not covered with the reason.
"""

from __future__ import annotations

import csv
from pathlib import Path

_WHOLE = """
    pedigree-notation numerator-relationship numerator-relationship-inverse inbreeding-algorithm inbreeding selfing
    inbreeding-systems backcross-recovery plant-pedigree plant-pedigree-inverse recover-genotype recover-r
    seeds-per-plot backcross-chance backcross-recombinant linkage-drag keep-allele
    splitplot-reml reml-crossed reml-oneway reml-boundary reml-nested rcbd-anova rcbd-blup rcb-reml met-reml
    hetero-residual alpha-reml alpha-means heritability heritability-piepho heritability-cullis maize-oneway maize-met
    met-onestage met-stage1 met-twostage hetero-met entry-mean-H2 nc2-anova nc2-variance blup-animal-model
    blup-repeatability efficiency-bound alpha-generator bibd-E p-rep augmented-sed lsd
    finlay-wilkinson eberhart-russell joint-regression-anova wricke shukla modified-joint-regression
    two-way-unbalanced gge gge-scaled lxt-gca lxt-sca lxt-variance lxt-contribution lxt-se griffing-1 griffing-2
    griffing-4 diallel-array-means diallel-reml nc2-heritability ar1xar1 ar1xar1-nugget ar1-1d pspline-spatial
    pspline-1d factor-analytic splitplot-anova splitplot-sed reml-randomslope heritability-other gxe-anova
    genomic-G genomic-G-inbred snp-blup snp-blup-polygenic gblup-equivalence
"""
WHOLE = frozenset(_WHOLE.split())

IN_PART = {
    "sire-reml": "the heritabilities; its data are not at hand",
    "efficiency-factor": "the oat trial and the plain alpha arrays",
    "square-lattice-E": "k = 8 and k = 10 are left",
    "rectangular-lattice-E": "two replicates only",
    "rowcol-E": "the balanced square of 5 x 5; two data sets are not at hand",
    "augmented-adjusted": "blocks and checks fixed; the hand method is left",
    "augmented-anova": "the residual",
    "lin-binns": "three other tables; its own data are not at hand",
    "ammi": "the wheat table and Gollob's degrees of freedom; three data sets are not at hand",
    "ammi-test": "the statistic of axes 1-3 and chances of axes 1-4 of the interaction; its data are not at hand",
}

NOT_YET = {
    "rowcol-reml": "its data are not at hand",
    "bibd-means": "its data are not at hand",
    "lattice-square-anova": "its data are not at hand",
    "alpha-conditions": "alpha designs come with their own room",
    "own-performance": "selection index for own records",
    "gblup-reml": "its data are not at hand",
    "ar1xar1+random": "its data are not at hand",
    "spatial-gls": "correlation that falls by other laws than from neighbour to neighbour is not fitted",
    "selection-intensity": "merit and choice by index come later",
    "variance-reduction": "merit and choice by index come later",
    "finite-intensity": "merit and choice by index come later",
    "finite-intensity-approx": "merit and choice by index come later",
    "expected-max": "merit and choice by index come later",
    "order-statistics": "merit and choice by index come later",
    "breeders-equation": "merit and choice by index come later",
    "index-one-trait": "merit and choice by index come later",
    "smith-hazel": "merit and choice by index come later",
    "restricted-index": "merit and choice by index come later",
    "pesek-baker": "merit and choice by index come later",
    "independent-culling": "merit and choice by index come later",
    "usefulness": "merit and choice by index come later",
    "expected-best-line": "merit and choice by index come later",
    "optimum-contribution": "merit and choice by index come later",
    "entry-mean-variance": "merit and choice by index come later",
    "testers": "merit and choice by index come later",
}


def test_lists_of_topics_do_not_overlap() -> None:
    named = [*WHOLE, *IN_PART, *NOT_YET]
    assert len(named) == len(set(named))


def test_every_topic_of_the_published_table_is_named(checks_folder: Path) -> None:
    with (checks_folder / "quantgen.csv").open(encoding="utf-8", newline="") as file:
        topics = {row["topic"] for row in csv.DictReader(file)}
    assert topics == WHOLE | set(IN_PART) | set(NOT_YET)
