"""Which folders a wheel takes; everything else is in pyproject.toml.

`firmware` and `wiring` are read, never imported: they go below `springhouse_files`, where
`springhouse_sim.board_files` finds them. The packages in `firmware` go beside the others.
"""

from setuptools import find_namespace_packages, setup

READ = ("firmware", "wiring")
FOLDERS = {
    package: f"{where}/{package.replace('.', '/')}"
    for where in ("firmware", "sim", "hostlib")
    for package in find_namespace_packages(where)
} | {f"springhouse_files.{name}": name for name in READ}

setup(packages=list(FOLDERS), package_dir=FOLDERS)
