"""Whether the readings fit the best explanation at all, and which of them do not.

The surprise of the best explanation is twice the log likelihood lost against readings that would
hit their predictions, plus the squared distance of its values from the middle of their priors. In
the linear Gaussian case that sum follows chi-square with as many degrees of freedom as there are
readings (the joint minimum equals the marginal Mahalanobis distance); Student's t makes it milder.
"""

from __future__ import annotations

import numpy as np
from scipy.stats import chi2

from backprobe.core.inference.choices import is_choice
from backprobe.core.inference.fit import Fit
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.likelihood import FREEDOM
from backprobe.services.answer import Misfit
from backprobe.services.engine import Posterior

BLAME_DEVIATIONS = 4.5  # a reading this far from its prediction is named
UNEXPECTED_LOG = -5.0  # so is one that is no number where one was expected, or the reverse


def misfit(posterior: Posterior) -> Misfit:
    """Probability of readings at least this surprising, and the readings to blame."""
    condition, row = posterior.best_fit
    fits = posterior.fits[condition]
    sheet = posterior.problem.conditions[condition].sheet
    if sheet.n_read == 0:
        return Misfit(1.0, ())
    probability = _probability(posterior, condition, fits, row)
    return Misfit(probability, blamed(fits, row, sheet.label))


def _probability(posterior: Posterior, condition: int, fits: Fit, row: int) -> float:
    sheet = posterior.problem.conditions[condition].sheet
    table = posterior.bench.hypotheses.table.rows(fits.hypothesis[row : row + 1])
    held = is_choice(table, layout_of(table, sheet))[0]
    residual = fits.residual[row]
    used = np.isfinite(residual)
    lost = (FREEDOM + 1.0) * np.log1p(residual[used] ** 2 / FREEDOM)
    prior = float(np.sum(np.where(held, 0.0, fits.z[row]) ** 2))
    odd = (~used) & (fits.reading_log[row] < UNEXPECTED_LOG)
    surprise = float(np.sum(lost)) + prior - 2.0 * float(np.sum(fits.reading_log[row][odd]))
    return float(chi2.sf(surprise, max(1, int(used.sum() + odd.sum()))))


def blamed(fits: Fit, row: int, labels: tuple[str, ...]) -> tuple[str, ...]:
    """Readings that the explanation misses, worst first."""
    residual = np.abs(np.nan_to_num(fits.residual[row], nan=0.0))
    odd = ~np.isfinite(fits.residual[row]) & (fits.reading_log[row] < UNEXPECTED_LOG)
    order = np.argsort(-residual)
    far = [labels[i] for i in order if residual[i] > BLAME_DEVIATIONS]
    return tuple(far + [labels[i] for i in np.flatnonzero(odd)])
