"""What happens around the installation: weather, tariff, people, outages, faults.

Everything that changes during a run is a SimPy process that writes the given record of the plant
or the sensing record. SimPy time is whole ms since the start of the scenario. Control ticks are at
multiples of 1000, outside events half a second before, so that there are no ties and a change
stated for 14:00:00 is seen by the tick of 14:00:00.
"""
