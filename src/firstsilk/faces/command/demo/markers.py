"""How do the markers of the invented station come into its books, as any station's would?"""

from __future__ import annotations

from pathlib import Path

from firstsilk.faces.files.marker_sheets import give_markers, read_sheet_file
from firstsilk.faces.files.markers import read_markers
from firstsilk.faces.files.tables import write_table
from firstsilk.invented.markers import PANEL, SAMPLED_ON, read_samples, write_variants
from firstsilk.invented.world import World
from firstsilk.work.lineage.bring_markers import MarkersBrought, bring_markers
from firstsilk.work.occasion import Occasion


def bring_invented_markers(world: World, folder: Path, on: Occasion) -> MarkersBrought:
    """Write the laboratory's file and its sheet of samples, and bring them; nobody knows that a few are wrong."""
    folder.mkdir(parents=True, exist_ok=True)
    samples = read_samples(world.book)
    variants, sheet = folder / "chip-200.vcf", folder / "samples.csv"
    variants.write_text(write_variants(samples), encoding="utf-8")
    write_table(sheet, ("sample", "line", "sampled_on"), [(one.name, one.line, SAMPLED_ON) for one in samples])
    return bring_markers(on, PANEL, give_markers(read_markers(variants), read_sheet_file(sheet)))
