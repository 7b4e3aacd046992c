"""How fast the demo is simulated: days per second of CPU time. See `make bench`."""

from statistics import median

from springhouse_sim.bench import Bench, days_per_cpu_second

from .proof import running, scenarios
from .screen import console
from .site import load_site

DAYS = 3
REPEATS = 5


def main() -> None:
    """Measure the hottest days of the demo, compiled, and one busy hour interpreted."""
    site = load_site("demo")
    scenario = scenarios.single(site, None, DAYS)

    def make(compile_ticks: bool) -> Bench:
        return running.bench(site, scenario, compile_ticks=compile_ticks)

    fast = days_per_cpu_second(lambda: make(True), DAYS, REPEATS)
    slow = days_per_cpu_second(lambda: make(False), 1 / 24, 1)
    screen = console()
    screen.print(f"demo, {DAYS} hottest days, 1 s control tick and plant step, warm")
    spread = f"(lowest {min(fast):.2f}, highest {max(fast):.2f}, {REPEATS} runs)"
    screen.print(f"compiled: {median(fast):.2f} days per CPU second, median {spread}")
    screen.print(f"interpreted: {slow[0]:.3f} days per CPU second, one hour")
    screen.print(f"ratio: {median(fast) / slow[0]:.0f}")


if __name__ == "__main__":
    main()
