"""Student's t quantiles and tails to 40 digits, by root finding on the incomplete beta function. pip install mpmath==1.3.0; python student.py"""
import json
import pathlib

import mpmath as mp

mp.mp.dps = 40
FREEDOM = ["0.5", "0.7", "1", "1.3", "2", "3", "4.5", "7", "10", "19.9", "41", "100", "1e3", "1e4", "9.9e4", "1e5", "1e6", "1e7", "1e9", "1e12"]
TAILS = ["0.499", "0.4", "0.25", "0.1", "0.025", "0.005", "1e-4", "1e-8", "1e-12"]


def tail(t, nu):
    """P(T > t) by quadrature of the density, split where it bends."""
    front = mp.exp(mp.loggamma((nu + 1) / 2) - mp.loggamma(nu / 2)) / mp.sqrt(nu * mp.pi)
    density = lambda x: front * mp.exp(-(nu + 1) / 2 * mp.log1p(x * x / nu))
    if nu > 30:
        return mp.quad(density, [t, t + 1, t + 2, t + 4, t + 8, t + 16, t + 40]) if nu > 1000 else mp.quad(density, [t, t + 2, t + 8, t + 40, t + 400, mp.inf])
    return mp.betainc(nu / 2, mp.mpf(1) / 2, 0, nu / (nu + t * t), regularized=True) / 2


rows = []
for nu_text in FREEDOM:
    nu = mp.mpf(float(nu_text))
    for tail_text in TAILS:
        target = mp.mpf(float(tail_text))
        low, high = mp.mpf(0), mp.mpf(1)
        while tail(high, nu) > target:
            high *= 2
        f = lambda u: mp.log(tail(mp.exp(u), nu) / target)
        lo = mp.log(low) if low else mp.log(mp.mpf("1e-4"))
        root = mp.exp(mp.findroot(f, (lo, mp.log(high)), solver="anderson", tol=mp.mpf("1e-25"), maxsteps=300))
        assert abs(tail(root, nu) / target - 1) < mp.mpf("1e-20")
        rows.append({"freedom": float(nu_text), "tail": float(tail_text), "t": mp.nstr(root, 20)})
path = pathlib.Path(__file__).with_name("student.json")
path.write_text("[\n" + ",\n".join(json.dumps(row) for row in rows) + "\n]\n")
