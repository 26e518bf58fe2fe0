"""What stands on the packet list of a trial in the books?"""

from __future__ import annotations

from firstsilk.answers import refuse
from firstsilk.faces.paper.lists import PacketList, TrialPacket
from firstsilk.work.occasion import Occasion
from firstsilk.work.station import read_station
from firstsilk.work.trials.packets import PacketList as Packets


def make_packet_list(on: Occasion, packets: Packets) -> PacketList:
    """The packets of a trial, ready to print.

    Raises
    ------
    InputRefused
        If the trial was not laid out here: its packets have no lot, no kernels or no place in the field.
    """
    made = []
    for one in packets.packets:
        if not (one.lot and one.kernels and one.field_row and one.field_col and one.rep.isdecimal()):
            told = f"Plot {one.plot} of {packets.trial} has no lot, no kernels or no place in the field."
            raise refuse("not_laid_out_here", told, "Packets are printed for trials that were laid out here.")
        block = int(one.block) if one.block.isdecimal() else None
        made.append(
            TrialPacket(one.plot, int(one.rep), block, one.entry, one.lot, one.kernels, one.field_row, one.field_col)
        )
    return PacketList(
        station=read_station(on.station).name,
        trial=packets.trial,
        site=packets.site,
        season=str(packets.year),
        printed_on=on.today,
        packets=tuple(made),
    )
