"""What the form can choose from."""

from __future__ import annotations

from typing import Any

from dashboard import called
from pipeline.settings import Settings


def choices(con: Any, _settings: Settings) -> dict[str, Any]:
    """Vehicles and upgrades by id with what people call them, items by id with label, group and usual place."""
    vehicles = dict(con.execute("SELECT vehicle_id, label FROM vehicles ORDER BY label, vehicle_id").fetchall())
    upgrades: dict[str, dict[str, str]] = {}
    for vehicle_id, upgrade_id, label in con.execute(
        "SELECT vehicle_id, upgrade_id, label FROM upgrades ORDER BY label, upgrade_id"
    ).fetchall():
        upgrades.setdefault(vehicle_id, {})[upgrade_id] = label
    found = con.execute("""
        WITH bodies_with AS (SELECT list, count(*) AS n FROM body_facts GROUP BY list),
        placed AS (
            SELECT l.item_id, l.zone, row_number() OVER (PARTITION BY l.item_id ORDER BY sum(b.n) DESC, l.zone) AS turn
            FROM list_lines AS l JOIN bodies_with AS b ON b.list = l.list WHERE l.zone IS NOT NULL GROUP BY l.item_id, l.zone
        )
        SELECT i.item_id, i.label, i."group", p.zone FROM items AS i LEFT JOIN placed AS p ON p.item_id = i.item_id AND p.turn = 1
        ORDER BY i.item_id""").fetchall()
    labels = called.unlike({item_id: label for item_id, label, *_ in found})
    items = {item_id: {"label": labels[item_id], "group": group, "usual_zone": zone} for item_id, _, group, zone in found}
    return {"vehicles": called.unlike(vehicles), "upgrades": upgrades, "items": items}
