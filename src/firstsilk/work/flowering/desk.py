"""Which device writes what is written at the desk?"""

from __future__ import annotations

from uuid import NAMESPACE_URL, uuid5

from firstsilk.records.models import Device, Station


def desk_device(station: Station) -> Device:
    """The station's own device for notes from the desk, paper and files; made on first use, inside a transaction."""
    uuid = uuid5(NAMESPACE_URL, f"firstsilk/{station.code}/desk")
    found = Device.objects.filter(station=station, uuid=uuid).first()
    return found or Device.objects.create(station=station, uuid=uuid, number=take_device_number(station), label="desk")


def take_device_number(station: Station) -> int:
    """The station's next device number, dense from 1; call inside a transaction."""
    locked = Station.objects.select_for_update().get(pk=station.pk)
    locked.last_device_number += 1
    locked.save(update_fields=["last_device_number"])
    return locked.last_device_number
