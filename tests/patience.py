"""How long a test waits for what surely comes: long, for it ends only what hangs.

No test asks how fast anything is; a machine under load takes its time.
"""

HANG_S = 2400.0
