"""Who may import whom: modules in no circle, packages only from the rows below their own.

Imports inside functions and those for type checkers alone count as well: they hide a circle, and a
reader still has to know both ends to understand one.
"""

import ast
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest
import springhouse_host
import springhouse_sim

# Bottom first. Nothing imports from its own row or from one above it; a folder's modules may
# import each other.
SIM = (
    "board_files cache_folder loaded_text outside records turn",
    "abstract compiled kept_file sense watch",
    "adversary kept_code plant",
    "follow gauge sensing skip_dense skip_quick world",
    "skip_gauge skip_scan skip_step ticks",
    "skip_follow skip_tick trace",
    "skip",
    "bench",
    "virtual_board",
)
HOST = (
    "errors induction units",
    "figures outside workers",
    "runners screen",
    "plots site",
    "experiments following measuring sheet starter sweep_map",
    "asking fitting measuring_coil proof replaying weighing",
    "flashing interview report sweeping tuning",
    "core_cost watching wiring",
    "commissioning planning",
    "seasons worth",
    "plainly",
    "notebook",
    "desk",
    "benchmark commands",
    "cli",
    "__main__",
)


def sources() -> dict[str, Path]:
    """Return every module of both packages but the stand-ins, which run on the virtual board."""
    found = {}
    for package in (springhouse_sim, springhouse_host):
        assert package.__file__ is not None
        folder = Path(package.__file__).parent
        for path in folder.rglob("*.py"):
            parts = path.relative_to(folder.parent).with_suffix("").parts
            if "stand_in" not in parts:
                found[".".join(parts).removesuffix(".__init__")] = path
    return found


def imported(module: str, path: Path, known: dict[str, Path]) -> Iterator[str]:
    """Yield the modules of ``known`` that one imports, wherever in its text."""
    package = module if path.name == "__init__.py" else module.rpartition(".")[0]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name in known)
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) - node.level + 1]
            parts = [*(above if node.level else []), *filter(None, [node.module])]
            for alias in node.names:
                full = ".".join([*parts, alias.name])
                yield full if full in known else ".".join(parts)


@pytest.fixture(scope="module")
def graph() -> dict[str, set[str]]:
    """Imports by module."""
    known = sources()
    return {m: {i for i in imported(m, p, known) if i in known} for m, p in known.items()}


def circle(graph: dict[str, set[str]]) -> list[str]:
    """Return a circle of imports, nothing if there is none."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        found: list[str] = error.args[1]
        return found
    return []


def upward(graph: dict[str, set[str]], package: str, rows: tuple[str, ...]) -> list[str]:
    """Return the imports of one package that its table does not allow, and who is missing in it."""
    height = {name: n for n, row in enumerate(rows) for name in row.split()}
    assert len(height) == sum(len(row.split()) for row in rows)
    wrong = []
    for module, used in graph.items():
        mine = module.removeprefix(f"{package}.").split(".")[0]
        if mine == module or not module.startswith(package):  # the package itself may say anything
            continue
        if mine not in height:
            wrong.append(f"{module} stands in no row")
            continue
        for other in used:
            its = other.removeprefix(f"{package}.").split(".")[0]
            if its in height and its != mine and height[its] >= height[mine]:
                wrong.append(f"{module} imports {other}")
    return wrong


def test_no_circle(graph: dict[str, set[str]]) -> None:
    assert circle(graph) == []


def test_nothing_is_imported_from_above(graph: dict[str, set[str]]) -> None:
    assert upward(graph, "springhouse_sim", SIM) == []
    assert upward(graph, "springhouse_host", HOST) == []
    lower = [m for m in graph if m.startswith("springhouse_sim")]
    assert [m for m in lower if any(i.startswith("springhouse_host") for i in graph[m])] == []


def test_planted_imports_are_found(graph: dict[str, set[str]]) -> None:
    bent = {
        **graph,
        "springhouse_host.site.derive": {"springhouse_host.commands.size"},
        "springhouse_host.units": {"springhouse_host.errors", "springhouse_host.site.derive"},
    }
    found = upward(bent, "springhouse_host", HOST)
    assert "springhouse_host.site.derive imports springhouse_host.commands.size" in found
    assert "springhouse_host.units imports springhouse_host.errors" in found
    assert len(found) == 3
    assert "springhouse_host.site.derive" in circle(bent)
