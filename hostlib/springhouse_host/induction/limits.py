"""Numbers of the requirements, stated apart from the core, so that a wrong one there is seen."""

HOUR_MS = 3600000
DAY_MS = 86400000
SPACING_MS = 5000  # between the starts of two motors
MAINS_MS = 60000  # mains good for so long before the compressor is on
AGE_MS = 10000  # of a frame that is believed
BAD_MS = 8000  # an older value stands in for so long
TRUST_FRAMES = 3  # good frames in a row that make a probe trusted
LIVE_MS = 2000  # a relay contact that shows a live freezer
DRY_WAIT_MS = (60000, 300000, 1800000)  # at least, after the first, second, third of a day
DRY_RUNS = 3  # of a day that only wait; the next is latched
ACK_WAIT_MS = 60000  # from an acknowledged empty tray to delivery
WATER_AIR_MC = 3000  # plain water: least air temperature at the coil ...
WATER_ICE_MC = 0  # ... and of the water in it
MIXED_MK = 500  # chilled water above the floor, between its two probes
DENSEST_MC = 3980  # water
EVER_MK = 1000  # a bottom so much colder than both that and what its top ever was: the top lies
JUDGED_ABOVE_MK = 500  # the two are compared down to so far above the floor
