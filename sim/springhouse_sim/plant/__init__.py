"""The plant: store, freezer, loop, coil, room, tray and power, one part a file.

Each part is a class that validates what describes it and writes it into a flat parameter record;
the equations are plain functions over flat records, so that the same text runs interpreted or
compiled.  Start at ``plant.Plant``, ``rates.rates`` and ``integrate.advance``.
"""
