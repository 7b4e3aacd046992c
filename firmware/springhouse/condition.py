"""Condition bits: what the readings, settings and memory amount to, one word a region.

Each region's word has at most 16 bits, so that every state x every pattern can be checked.
"""

# Store side.
(
    STORE_SEEN,  # a store probe is trusted
    FREEZE,  # ice threatens
    STORE_WARM,  # store at or above the start threshold in force
    STORE_FULL,  # store at or below the stop threshold in force
    MAY_START,  # off-time, starts an hour, stagger all done
    MUST_RUN,  # minimum on-time not yet over
    MAINS,
    STORE_LOCK,
    BAR_RUN,  # the owner's mode or a rest stops the compressor
    BAR_START,  # quiet, tariff or warm fill: a running compressor goes on
    RUNNING,  # compressor is on
) = [1 << n for n in range(11)]
STORE_BITS = 11

# Room side.
(
    ROOM_SEEN,
    ROOM_WARM,
    ROOM_COOL,
    WANTED,
    USEFUL,  # store cold enough to be of use
    POWER,  # mains, or battery above its cut-off
    TRAY,  # tray full, or its waiting time
    DRY,  # pump ran dry: waiting, or the flow sensor lies
    COIL,  # coil-freeze or no air: now, or its waiting time
    ROOM_LOCK,
    BAR_ROOM,  # the owner's mode bars delivery
    PURGE_ASKED,
    SPELL,  # no flow evidence fitted: the bounded spell is over, or its pause runs
    PAUSE,  # least off-time of pump and fan not yet over
    MUST_DELIVER,  # least on-time of pump and fan not yet over
) = [1 << n for n in range(15)]
ROOM_BITS = 15

# Interlock.
(
    LOCK_FREEZE,
    LOCK_BLIND,  # no trusted store probe
    LOCK_START,  # compressor may not start
    LOCK_MAINS,
    LOCK_STORE,  # a latched fault of the store side
    LOCK_REST,  # the compressor rests
    LOCK_TRAY,
    LOCK_DRY,
    LOCK_COIL,
    LOCK_BATTERY,
    LOCK_ROOM,  # a latched fault of the room side
    LOCK_FAN_CAP,
    LOCK_SPACING,
    LOCK_ALL,  # settings invalid, or the owner's modes off and service
    LOCK_PAUSE,  # pump and fan may not start
) = [1 << n for n in range(15)]
LOCK_BITS = 15
