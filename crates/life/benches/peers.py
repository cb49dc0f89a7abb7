"""Times fits of the same lives by general-purpose statistics packages, and by this crate.

    python crates/life/benches/peers.py FOLDER

runs `cargo bench -p life --bench fit -- FOLDER`, which writes the lives there, then fits them with the PyPI packages
`lifelines` and `reliability` (`pip install lifelines reliability`). These give bounds from standard errors (Wald); this
crate's time includes profile bounds of shape, scale and B10.
"""

import contextlib
import io
import re
import subprocess
import sys
import time
import warnings

import numpy as np
from lifelines import WeibullFitter
from reliability.Fitters import Fit_Weibull_2P


def by_lifelines(ages, failed):
    return WeibullFitter().fit(ages, failed).rho_


def by_reliability(ages, failed):
    fit = Fit_Weibull_2P(ages[failed == 1], ages[failed == 0], show_probability_plot=False, print_results=False)
    return fit.beta


def timed(fit, ages, failed, repeats):
    """The median of the times in seconds, and the shape."""
    times = []
    for _ in range(repeats):
        started = time.perf_counter()
        with contextlib.redirect_stdout(io.StringIO()):
            shape = fit(ages, failed)
        times.append(time.perf_counter() - started)
    return sorted(times)[repeats // 2], shape


def main(folder):
    warnings.simplefilter("ignore")
    command = ["cargo", "bench", "-q", "-p", "life", "--bench", "fit", "--", folder]
    printed = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    for size, ms, shape in re.findall(r"(\d+) lives: ([\d.]+) ms, shape ([\d.]+)", printed):
        own = float(ms) / 1e3
        print(f"{size} lives: this crate {own:.4g} s, shape {shape}")
        ages, failed = np.loadtxt(f"{folder}/lives-{size}.csv", delimiter=",").T
        for name, fit in (("lifelines", by_lifelines), ("reliability", by_reliability)):
            took, shape = timed(fit, ages, failed, 7 if int(size) < 10_000 else 1)
            print(f"{size} lives: {name} {took:.4g} s, shape {shape:.10f}: {took / own:.0f} times")


if __name__ == "__main__":
    main(sys.argv[1])
