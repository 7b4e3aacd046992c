"""What must hold in every reachable state, by number. The numbers are those of the requirements.

20, 21, 22 and 24 concern the board's main program (late scans, watchdog, boot loops, network) and
not the control core; the simulation cannot judge them and the verdict says so.
"""

TEXTS = {
    1: "compressor never on while the coldest trusted store probe, less its error, is at the "
    "freeze limit",
    2: "compressor never on without a trusted store probe, nor below the 4 °C floor while nothing "
    "watches the top and wall",
    3: "outputs never rest on a probe that is not trusted",
    4: "every compressor off-period at least the minimum off-time, also where the drive dropped",
    5: "full off-time and stagger after power-up and after mains returns",
    6: "every compressor run at least the minimum on-time, unless a guard or the owner ends it",
    7: "compressor starts in any sliding hour within the limit, resets and power cuts included",
    8: "no long run without progress that delivery does not explain",
    9: "pump never on without evidence of flow for longer than allowed",
    10: "at most four dry runs in a day, resets included, then off until acknowledged",
    11: "store level low or water on the floor: everything off at once",
    12: "tray full: pump and fans off at once, and on again only after the return time",
    13: "pump never on while the coil could freeze",
    14: "pump never on for long without air over the coil",
    15: "at most one motor starts in any 5 s",
    16: "no mains: compressor commanded off, and mains good for a minute before it is on",
    17: "battery below its cut-off: pump and fans off until well above it or mains is back",
    18: "a latched fault keeps its outputs off until acknowledged after it was over; no reset, "
    "power cut or late scan acknowledges it",
    19: "invalid settings: everything off",
    23: "the same decisions whatever the tick counter starts from",
    25: "no compressor start in a no-start window with a known clock, unless the owner allowed it",
    26: "healthy inputs and demand for cold start the compressor within the longest wait",
    27: "pump and fans: least off-time before each start, least on-time unless a guard, the plan "
    "or the owner ends it",
    28: "in the owner's off and service no motor runs; a reset does not end them",
    29: "compressor below the 4 °C floor only while both store probes vouch for the top",
    30: "a freezer that runs although switched off sounds the alarm",
    31: "a plan's advice is in force only where the owner allows it, inside the owner's range and "
    "for its time",
}

BOARD_ONLY = (20, 21, 22, 24)


def identity(number: int) -> str:
    """The id a record carries, e.g. INV-04."""
    return f"INV-{number:02d}"
