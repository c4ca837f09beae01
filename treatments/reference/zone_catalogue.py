"""Loads the zone catalogue into the shop's own zones and never overwrites what the shop has changed."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from treatments.models import Zone, ZoneArea
from treatments.rules.zone_catalogue import ZoneDescription


@transaction.atomic
def load_zone_catalogue(*, catalogue: Sequence[ZoneDescription], now: datetime) -> int:
    """Add the zones that are not there yet; zones and areas that the shop has changed stay as they are.

    What the first catalogue of a shop brings was always there; what comes later, from its moment on.

    A zone that an older catalogue brought gets what that did not say: tools, what to guard, and on which vehicles it is
    not coated.
    """
    known = {zone.code: zone for zone in Zone.objects.all()}
    added = 0
    for described in catalogue:
        more: dict[str, Any] = {
            "tools": list(described.tools),
            "door_approaches": list(described.door_approaches),
            "to_guard": list(described.to_guard),
            "propulsions": list(described.propulsions),
            "withheld_on": list(described.withheld_on),
        }
        if described.code in known:
            zone = known[described.code]
            missing = [name for name in more if getattr(zone, name) is None]
            for name in missing:
                setattr(zone, name, more[name])
            if missing:
                zone.save(update_fields=missing)
            continue
        zone = Zone.objects.create(
            **more,
            added_at=now if known else None,
            code=described.code,
            name=described.name,
            aliases=list(described.aliases),
            kind=described.kind,
            stage=described.stage or "",
            height=described.height or "",
            sequence=described.sequence,
            suited_families=list(described.suited_families),
            access_points=[{"name": p.name, "count": p.count} for p in described.access_points],
            cautions=list(described.cautions),
            plastic=described.plastic,
        )
        ZoneArea.objects.bulk_create(
            ZoneArea(zone=zone, body_style=style, area_m2=area) for style, area in described.areas_m2
        )
        added += 1
    return added
