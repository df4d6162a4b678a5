"""Measured series of real machines: event rates and trends, consumption by a meter, a known change."""
import csv
import sys
import numpy as np
import statsmodels.api as sm
from scipy import optimize, stats
sys.path.insert(0, "recompute")
from common import Expected

E = Expected("15_real_data.csv")


def read(name):
    with open("data/" + name, newline="") as f:
        return list(csv.DictReader(f))


def add(check, data, q, v, p="", tol="1e-9", o="computed", s=""):
    E.add(check, q, float(v), p, tol, "rel", o, s, data)


# Events of two submarines' diesel engines. Shape and scale by maximising the likelihood (not by its closed form).
for engine, end, prints in [("a", 25518.0, ("2.76", "5.45")), ("b", 15070.0, ("1.22", "0.553"))]:
    t = np.array([float(r["hours"]) for r in read("submarine_diesels.csv") if r["engine"] == engine])
    n, T = len(t), end / 1000
    x = t / 1000

    def minus_log_likelihood(p):
        shape, eta = np.exp(p)
        return -(n * np.log(shape) - n * shape * np.log(eta) + (shape - 1) * np.log(x).sum() - (T / eta) ** shape)
    fit = optimize.minimize(minus_log_likelihood, [0.0, 0.0], method="Nelder-Mead",
                            options={"xatol": 1e-12, "fatol": 1e-13, "maxiter": 20000, "maxfev": 20000})
    shape, eta = np.exp(fit.x)
    d = f"submarine_diesels.csv {engine}"
    add("power_law", d, "events", n)
    add("power_law", d, "shape", shape, prints[0], "1e-6", "memory", "meeker_escobar_1998")
    add("power_law", d, "characteristic_time_1000h", eta, prints[1], "1e-6", "memory", "meeker_escobar_1998")
    u = (t.mean() - end / 2) / (end * np.sqrt(1 / (12 * n)))
    chi2 = 2 * np.log(end / t).sum()
    add("trend", d, "laplace_z", u)
    add("trend", d, "laplace_p_rising", stats.norm.sf(u), tol="1e-6")
    add("trend", d, "milhdbk_chi2", chi2)
    add("trend", d, "milhdbk_p_rising", stats.chi2.cdf(chi2, 2 * n), tol="1e-6")
    add("rate", d, "mtbf_h", end / n)
    # The alarm log merges events that share a moment: engine b has one such pair.
    m = len(set(t))
    add("rate", d, "per_1000h_distinct", 1000 * m / end)
    add("rate", d, "per_1000h_low90", 1000 * stats.gamma.ppf(0.05, m) / end)
    add("rate", d, "per_1000h_high90", 1000 * stats.gamma.ppf(0.95, m + 1) / end)
    # One change of a constant rate: profile likelihood of the moment.
    best = []
    for k in range(1, n):
        c = t[k - 1]
        if c < end:
            best.append((k * np.log(k / c) + (n - k) * np.log((n - k) / (end - c)), c, k))
    ll, c, k = max(best)
    add("one_change", d, "at_h", c)
    add("one_change", d, "factor", ((n - k) / (end - c)) / (k / c))
    inside = [b[1] for b in best if b[0] >= ll - stats.chi2.ppf(0.9, 1) / 2]
    add("one_change", d, "at_h_low90", min(inside))
    add("one_change", d, "at_h_high90", max(inside))

# A van's fuel, filled until the pump stops: amount = rate x miles, fill errors telescope, each stretch has its own duty.
rows = read("van_fuel.csv")
h = np.array([float(r["miles"]) for r in rows[1:]])
y = 30 * np.array([float(r["gallons"]) for r in rows[1:]])
d = "van_fuel.csv"
add("consumption", d, "stretches", len(h))
add("consumption", d, "cm3_per_h_total", y.sum() / h.sum())
ols = sm.OLS(y, h).fit()
add("consumption", d, "cm3_per_h_ols", ols.params[0])
wls = sm.WLS(y, h, weights=1 / h ** 2).fit()
add("consumption", d, "cm3_per_h_mean_of_ratios", wls.params[0])
add("consumption", d, "se_mean_of_ratios", wls.bse[0])
add("consumption", d, "relative_sd", np.std(y / h, ddof=1) / np.mean(y / h))
tau = stats.kendalltau(np.arange(len(h)), y / h)
add("consumption", d, "kendall_tau", tau[0])
add("consumption", d, "kendall_p", tau[1], tol="1e-6")

# A house's heating gas by degree-hours, before and after its walls were insulated in week 26.
rows = read("whiteside.csv")
d = "whiteside.csv"
part = {}
for name, prints in [("before", ("6.854", "-0.3932")), ("after", ("4.724", "-0.2779"))]:
    temp = np.array([float(r["temp_c"]) for r in rows if r["insulation"] == name])
    gas = np.array([float(r["gas"]) for r in rows if r["insulation"] == name])
    line = sm.OLS(gas, sm.add_constant(temp)).fit()
    add("heating", d, name + "_intercept", line.params[0], prints[0], "1e-9", "text", "R_lm_whiteside")
    add("heating", d, name + "_slope", line.params[1], prints[1], "1e-9", "text", "R_lm_whiteside")
    hours = 8 * (17.4 - temp)
    part[name] = (hours, 50 * gas)
    add("heating", d, name + "_cm3_per_h_total", (50 * gas).sum() / hours.sum())
    fit = sm.WLS(50 * gas, hours, weights=1 / hours ** 2).fit()
    add("heating", d, name + "_cm3_per_h_mean_of_ratios", fit.params[0])
    add("heating", d, name + "_se", fit.bse[0])
add("heating", d, "before_over_after", part["before"][1].sum() / part["before"][0].sum() /
    (part["after"][1].sum() / part["after"][0].sum()))
E.save()
