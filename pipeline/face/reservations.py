"""What the fitted heat inputs say against the law itself.

Conductivity and heat share are effective values: whatever the model of the heat gets wrong goes into them. Where the stops pull
them to where nothing that was known would have them, the face temperatures are doubtful, and so is every figure beside what was
tested. The law is then not used for windows, however well it predicts cells left out, if

    the search did not settle, or ended at the limit of what it may try, or
    (ln k/k0)^2 / u_k^2 + (ln flux factor)^2 / u_f^2 > 5.99    (95 % of chi-squared, two degrees of freedom; with a loss while
                                                               braking, (ln h/h0)^2 / u_h^2 is added and the limit 7.81)

with the uncertainties before the stops were looked at. A single value that lies more than three of its own fitted uncertainties
from a known one is told, and bars nothing: a card may be wrong by its 15 %, which many stops measure far closer.
"""

from __future__ import annotations

import numpy as np

from pipeline.face.inputs import SPAN, Inputs
from pipeline.face.law import Law

SURPRISE = {2: 5.991, 3: 7.815}  # chi-squared by degrees of freedom, 95 %
FAR = 3.0  # of the fitted value's own uncertainty
KNOWN_U = 0.2  # a value that is known no better is a guess, and no departure from it means anything
AT_LIMIT = 0.98
EFFECTIVE = "conductivity and heat share are effective values of the law, no measurement of the disc"


def of_heat(fit: Law, heat: Inputs) -> tuple[list[str], str | None]:
    """(reservations, why the law may not be chosen or None)."""
    priors = heat.priors
    own = np.sqrt(np.diag(fit.covariance)[fit.places["heat"]])
    far = [
        f"{prior.name} {prior.value * np.exp(theta):.3g} instead of {prior.value:.3g}, {abs(theta) / u:.1f} standard uncertainties away"
        for prior, theta, u in zip(priors, fit.theta, own, strict=True)
        if prior.value and prior.u <= KNOWN_U and abs(theta) > FAR * u
    ]
    notes = []
    if far:
        notes.append(
            f"the stops ask for {' and '.join(far)}: {EFFECTIVE}, and face temperatures are the model's, not measured"
        )
    bars = []
    if not fit.converged:
        bars.append("the search for the heat inputs did not settle: their values are the last ones tried")
    if (np.abs(fit.theta) > AT_LIMIT * SPAN * fit.theta_u).any():
        bars.append("the search for the heat inputs ended at the limit of what it may try")
    surprise = float(((fit.theta / fit.theta_u) ** 2).sum())
    limit = SURPRISE[sum(prior.value > 0 for prior in priors)]
    if surprise > limit:
        bars.append(
            f"the heat inputs together lie outside the 95 % of what was known of them (chi-squared {surprise:.1f}, limit {limit:.1f})"
        )
    return [*notes, *bars], "; ".join(bars) or None
