"""Slots of the observer's record, int64. Times are ms since the start of the watch, unwrapped."""

(
    STARTED,
    TIME_MS,
    NOW_SEEN_MS,  # wrapped tick of the previous scan
    OUT,  # outputs granted by the previous scan
    BOOT_MS,
    RISING_MS,  # latest off -> on of any motor
    C_ON_MS,
    C_OFF_MS,
    MAINS_SINCE_MS,  # mains good since; FOREVER_AGO at first sight, -1 while bad
    START_1_MS,  # ring of compressor starts
    START_2_MS,
    START_3_MS,
    START_4_MS,
    START_NEXT,
    PUMP_ON_MS,
    FLOW_MS,  # latest scan with flow in this pump run, -1 = none yet
    LAST_DRY_MS,
    DRY_TRIES,
    TRAY_SHUT_MS,  # tray closed since; -1 while open
    TRAY_SHORT,  # an acknowledgement after emptying shortened the wait, since TRAY_ACK_MS
    TRAY_ACK_MS,
    TRAY_OPENINGS,
    TRAY_OPEN_MS,  # latest opening
    AIR_MS,  # latest scan with air while pump and fan on
    FLOOD,  # a flood was seen and not yet acknowledged
    BATTERY_LOW,
    ACK_SEEN,
    MODE,
    MODE_SEEN,
    MODE_END_MS,
    RUN_MS,  # start of the judged compressor run
    RUN_LOW_MC,  # highest store readings since: they must fall
    RUN_HIGH_MC,
    RUN_TRUST,  # trust pattern of that run
    DEMAND_MS,  # healthy demand for cold since, -1 = none
    LOW_TRUST,  # NO, MAYBE, YES a probe
    HIGH_TRUST,
    ROOM_TRUST,
    COIL_IN_TRUST,
    COIL_AIR_TRUST,
    LOW_GOOD,  # consecutive good frames
    HIGH_GOOD,
    ROOM_GOOD,
    COIL_IN_GOOD,
    COIL_AIR_GOOD,
    LOW_LAST_MC,  # latest good frame
    HIGH_LAST_MC,
    ROOM_LAST_MC,
    COIL_IN_LAST_MC,
    COIL_AIR_LAST_MC,
    LOW_LAST_MS,
    HIGH_LAST_MS,
    ROOM_LAST_MS,
    COIL_IN_LAST_MS,
    COIL_AIR_LAST_MS,
    LOW_FRAME_MS,  # wrapped tick of the frame seen last
    HIGH_FRAME_MS,
    ROOM_FRAME_MS,
    COIL_IN_FRAME_MS,
    COIL_AIR_FRAME_MS,
    LOW_MOVED_MS,  # latest time the probe moved visibly
    HIGH_MOVED_MS,
    ROOM_MOVED_MS,
    COIL_IN_MOVED_MS,
    COIL_AIR_MOVED_MS,
    LOW_MARK_MC,
    HIGH_MARK_MC,
    ROOM_MARK_MC,
    COIL_IN_MARK_MC,
    COIL_AIR_MARK_MC,
    DROP_SEEN,
    LATCHED,  # every latch that was announced and not yet acknowledged
    PUMP_MOVED_MS,  # latest edge of the pump as driven
    FAN_MOVED_MS,
    TOP_LEAST_MC,  # lowest high reading since the bottom was last warm
    TOP_ROSE,  # it has come up since, or nobody saw it begin
    BOTTOM_MOST_MC,  # highest low reading of the chill under way
    TOP_EVER_MC,  # lowest high reading since the bottom was surely warm; far below: not known
    LIVE_MS,  # off and its contact shows it live since, -1 = it does not
    OFF_MS,  # nothing runs since, -1 = something does, -2 = a probe was not sure
    OFF_MC,  # store temperature when it had settled
    OFF_STIRRED,  # 1: the pump ran last
    OFF_FALLEN,  # scans in a row in which it had fallen since
    MODE_BEFORE,  # of the previous scan
    ADVICE_SEEN,
    ADVICE,  # what a plan said last
    ADVICE_MC,
    ADVICE_END_MS,  # until when it holds
    SIZE,
) = range(89)
