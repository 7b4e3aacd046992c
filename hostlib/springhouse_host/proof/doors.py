"""What the checks of the firmware alone call compiled; together, so the core is compiled once."""

from springhouse_sim import compiled

DOORS: compiled.Doors = (
    ("springhouse_sim.adversary", "episode"),
    ("springhouse_sim.abstract.search", "explore"),
    ("springhouse_sim.abstract.search", "stuck"),
    ("springhouse_sim.abstract.search", "leads_to"),
)
