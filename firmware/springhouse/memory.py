"""Slots of the memory record: everything the controller remembers between two steps.

Timers (from TIMERS on) hold -1 idle, -2 due, or the tick at which they fall due; see
`timekeeping.py`. Counters saturate. A fresh record is made by `controller.power_up`; what of an
older one outlives a reset is in `restart.py`.
"""

(
    BOOTED,  # 0 until the first step after power-up
    STORE_STATE,
    ROOM_STATE,
    OUT,  # output bits granted last step
    STORE_WORD,  # the three condition words of the last step
    ROOM_WORD,
    LOCK_WORD,
    LATCH,  # latched faults, bits in latch.py
    FLAGS,  # hysteresis and edge bits, FLAG_* below
    MODE,
    ACK_SEEN,
    MODE_SEEN,
    PLAN,  # schedule bits in force, WEEK_* in week.py
    PLAN_SINCE_MIN,  # they hold from this minute of the week (-1: clock unknown) ...
    PLAN_LENGTH_MIN,  # ... for so many minutes
    ADVICE,  # a plan's advice in force, numbers of advice.py; 0 = none
    ADVICE_WANTED,  # it wants the room cooled
    ADVICE_MC,  # store target it asks for
    ADVICE_SEEN,
    VALID,  # one bit a probe: its latest frame was accepted
    STORE_LOW_GOOD,  # consecutive good frames, saturates at 3 = trusted
    STORE_HIGH_GOOD,
    ROOM_GOOD,
    COIL_IN_GOOD,
    COIL_AIR_GOOD,
    STORE_LOW_SEEN_MS,  # tick of the frame counted last while not yet trusted
    STORE_HIGH_SEEN_MS,
    ROOM_SEEN_MS,
    COIL_IN_SEEN_MS,
    COIL_AIR_SEEN_MS,
    STORE_LOW_ANCHOR_MC,  # follows the probe in steps of ANCHOR_MK; stands in for a lost frame
    STORE_HIGH_ANCHOR_MC,
    ROOM_ANCHOR_MC,
    COIL_IN_ANCHOR_MC,
    COIL_AIR_ANCHOR_MC,
    DRY_COUNT,
    TRAY_COUNT,
    REST_COUNT,
    STILL_COUNT,
    PROGRESS_MC,  # store temperature that the running charge must get 0.5 K below
    PROGRESS_MADE_MK,  # progress of the spells before, while no spell runs
    PROGRESS_BY,  # the store probes it is judged by: bits as in fitted.py
    PROGRESS_LEFT_MS,  # compressor-on time without delivery still allowed for that
    ICE_LEFT_MS,  # ice bank: compressor-on time in the ice zone until seen melted
    STORE_LOW_STUCK_LEFT_MS,
    STORE_HIGH_STUCK_LEFT_MS,
    MODE_LEFT_MS,  # at power-up: time left of an owner's stop from before; then 0
    DROP_SEEN,
    TOP_LEAST_MC,  # lowest high reading since the bottom was warm, in steps
    CHILL_LOW_MC,  # highest low reading of the chill under way
    REST_MC,  # what the fall of a store switched off is measured from; before, the motor that ran
    REST_BY,  # the store probes it is judged by; 0 = settling
    # timers
    OFF_T,  # compressor may not start
    ON_T,  # compressor should not stop
    SPACING_T,  # inrush: nothing else may start
    START_1_T,  # ring of starts in the last hour
    START_2_T,
    START_3_T,
    START_4_T,
    MODE_T,  # the owner's mode ends
    ADVICE_T,  # the advice lapses
    PROGRESS_T,
    ICE_T,
    RUN_T,  # first pull-down: end of one run
    REST_T,  # compressor rests
    REST_DAY_T,
    DISAGREE_T,
    STORE_LOW_STUCK_T,
    STORE_HIGH_STUCK_T,
    STORE_LOW_BAD_T,
    STORE_HIGH_BAD_T,
    ROOM_BAD_T,
    COIL_IN_BAD_T,
    COIL_AIR_BAD_T,
    FLOW_T,
    GHOST_T,  # flow although the pump is off
    DRY_WAIT_T,
    DRY_DAY_T,
    FOLLOW_T,
    SPELL_T,
    TRAY_T,
    TRAY_DAY_T,
    COIL_T,
    STILL_T,
    STILL_DAY_T,
    DELIVERY_ON_T,  # pump and fan should not stop
    DELIVERY_OFF_T,  # pump and fan may not start
    TOP_T,  # the top must have fallen again
    WELDED_T,  # nothing runs: settling, then the half hour that is judged
    LIVE_T,  # the freezer is live although switched off
    SIZE,
) = range(91)

TIMERS = OFF_T

(
    FLAG_MAINS,  # mains was good at the last step
    FLAG_TRAY,  # tray was full at the last step
    FLAG_FREEZE,
    FLAG_HOT,  # room over its limit
    FLAG_BATTERY_LOW,
    FLAG_COIL,  # coil-freeze, until clear again
    FLAG_INVALID,  # the settings record contradicts its bounds
    FLAG_BOOT_WAIT,  # the off-time in force began at power-up ...
    FLAG_MAINS_WAIT,  # ... or when mains returned; else when the compressor stopped
    FLAG_VOUCHED,  # both store probes vouch for the top, see vouching.py
    FLAG_SUNK,  # the bottom fell below 4 °C under a top said to be warm
) = [1 << n for n in range(11)]
