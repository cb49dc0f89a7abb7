"""Fits of invented lives at 50 digits, for tests/digits.rs: prints its cases.

    python crates/life/benches/digits.py

needs the PyPI package mpmath. The lives come from a congruential generator and are rounded to whole numbers of hours, so
that both sides read the same; the top is where the derivatives of the log-likelihood by location and log spread are
nothing, found by mpmath's Newton method (findroot, numerical Jacobian) at 50 digits.
"""
import mpmath as mp

mp.mp.dps = 50


class Random:
    """Numerical Recipes' quick generator (modulus 2^32), by its high bits."""

    def __init__(self, seed):
        self.state = seed

    def next(self):
        self.state = (1664525 * self.state + 1013904223) % 2**32
        return ((self.state >> 8) + 0.5) / 2**24


def lives(seed, size, shape, good, looked, late):
    """(entry, from, to): from == to failed there, to None still good."""
    import math

    random, found = Random(seed), []
    while len(found) < size:
        age = 1000 * (-math.log(random.next())) ** (1 / shape)
        entry = round(600 * random.next()) if random.next() < late else 0
        limit = 1400 * random.next() if random.next() < good else math.inf
        step = 100 + 300 * random.next()
        is_looked = random.next() < looked
        if limit < age:
            low, high = round(limit) + 1, None
        elif is_looked:
            low = round(math.floor(age / step) * step)
            high = round((math.floor(age / step) + 1) * step)
        else:
            low = high = round(age) + 1
        if entry < low or (entry == low and low != high):
            found.append((entry, low, high))
    return found


def log_survival(family, z):
    return -mp.exp(z) if family == "Weibull" else mp.log(mp.erfc(z / mp.sqrt(2)) / 2)


def log_density(family, z):
    return z - mp.exp(z) if family == "Weibull" else -z * z / 2 - mp.log(2 * mp.pi) / 2


def log_likelihood(family, data, mu, tau):
    sigma = mp.exp(tau)

    def z(age):
        return (mp.log(age) - mu) / sigma

    total = mp.mpf(0)
    for entry, low, high in data:
        if high is None:
            total += log_survival(family, z(low))
        elif low == high:
            total += log_density(family, z(low)) - tau - mp.log(low)
        else:
            good = mp.mpf(1) if low == 0 else mp.exp(log_survival(family, z(low)))
            total += mp.log(good - mp.exp(log_survival(family, z(high))))
        if 0 < entry:
            total -= log_survival(family, z(entry))
    return total


def fit(family, data):
    def value(mu, tau):
        return log_likelihood(family, data, mu, tau)

    h = mp.mpf(10) ** -15

    def score(mu, tau):
        # Central differences at 50 digits: their error is of the order h², 1e-30.
        return [(value(mu + h, tau) - value(mu - h, tau)) / (2 * h), (value(mu, tau + h) - value(mu, tau - h)) / (2 * h)]

    ends = [mp.log(high or low) for _, low, high in data if high is not None]
    middle = sum(ends) / len(ends)
    width = mp.sqrt(sum((y - middle) ** 2 for y in ends) / len(ends))
    start = climb(value, float(middle), float(mp.log(width)))
    mu, tau = mp.findroot(score, start, tol=1e-25)
    return mu, mp.exp(tau), value(mu, tau)


def climb(value, mu, tau):
    """Roughly to the top, by a shrinking cross of steps in ordinary digits."""
    step = 0.3
    with mp.workdps(20):
        best = value(mu, tau)
        while 1e-3 < step:
            for a, b in ((step, 0), (-step, 0), (0, step), (0, -step)):
                there = value(mu + a, tau + b)
                if best < there:
                    best, mu, tau = there, mu + a, tau + b
                    break
            else:
                step /= 3
    return mp.mpf(mu), mp.mpf(tau)


CASES = [
    # family, seed, size, shape, good, looked, late
    ("Weibull", 1, 12, 2.5, 0, 0, 0),
    ("Weibull", 2, 20, 0.8, 0.6, 0, 0),
    ("Weibull", 3, 20, 1.5, 0, 1, 0),
    ("Weibull", 4, 20, 3.0, 0, 0, 0.6),
    ("Weibull", 5, 25, 2.0, 0.5, 0.5, 0),
    ("Weibull", 6, 25, 1.2, 0.6, 0, 0.5),
    ("Weibull", 7, 25, 4.0, 0, 0.6, 0.5),
    ("Weibull", 8, 40, 2.0, 0.5, 0.5, 0.4),
    ("Lognormal", 9, 12, 2.5, 0, 0, 0),
    ("Lognormal", 10, 20, 1.5, 0.6, 0, 0),
    ("Lognormal", 11, 25, 2.0, 0.5, 0.5, 0),
    ("Lognormal", 12, 40, 2.0, 0.5, 0.5, 0.4),
]


def text(life):
    entry, low, high = life
    end = f"Good({low}.0)" if high is None else f"Failed({low}.0)" if low == high else f"Between({low}.0, {high}.0)"
    return f"({entry}.0, {end})"


def main():
    for family, *how in CASES:
        data = lives(*how)
        mu, sigma, top = fit(family, data)
        numbers = ", ".join(repr(float(x)) for x in (mu, sigma, top))
        print(f"    Case {{ family: Family::{family}, top: [{numbers}], lives: &[")
        print("        " + ", ".join(map(text, data)) + ",\n    ] },")


if __name__ == "__main__":
    main()
