"""From the coordinates of a fit to a Gummel-Poon card and back."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from partscreen.device.card import Card
from partscreen.device.parameters import INDEX, N_PARAMETERS
from partscreen.device.prior import TypeConstants

Floats = npt.NDArray[np.float64]

LEAK_CURRENT = 0.01
"""Transport current [A] at which the coordinate `leak` is the recombination base current."""

_NO_IRB = 1e3  # times rated current: the base resistance is then constant
_FLOOR = {"rb": 1e-5, "re": 1e-6, "rc": 1e-6, "leak": 1e-12, "cje": 1e-15, "cjc": 1e-15}  # stand for "none"
_NO_EARLY = 1e5  # [V] stands for an Early voltage left out
_NO_KNEE = 1e4  # [A] stands for a knee left out


def card_from_theta(theta: npt.ArrayLike, constants: TypeConstants) -> Card:
    """Cards of many parts.

    Parameters
    ----------
    theta : array, shape (n_parts, n_parameters)
        Coordinates of `partscreen.device.parameters`.
    constants : TypeConstants

    Returns
    -------
    Card
        Values of shape (n_parts, 1). RBM is 0 (IRB form), NR = NF. QS and RTH have no place in a card: see
        `predict_saturation`.
    """
    values = np.exp(np.atleast_2d(np.asarray(theta, dtype=float)))

    def column(name: str) -> Floats:
        return np.asarray(values[:, INDEX[name], None])

    is_, nf, ne = column("is"), column("nf"), column("ne")
    return Card(
        is_=is_, nf=nf, bf=column("bf"), ikf=column("ikf"), ne=ne, vaf=column("vaf"), nkf=column("nkf"),
        ise=column("leak") * (is_ / LEAK_CURRENT) ** (nf / ne),
        rb=column("rb"), rbm=0.0, irb=column("irb"), re=column("re"), rc=column("rc"), br=column("br"), nr=nf,
        cje=column("cje"), cjc=column("cjc"), var=constants.var, ikr=constants.ikr, isc=constants.isc, nc=constants.nc,
        vje=constants.vje, mje=constants.mje, vjc=constants.vjc, mjc=constants.mjc, fc=constants.fc,
        xtb=constants.xtb, xti=constants.xti, eg=constants.eg, tnom=constants.tnom,
    )  # fmt: skip


def theta_from_card(
    card: Card, constants: TypeConstants, *, qs: npt.ArrayLike = 0.0, rth: npt.ArrayLike = 1.0
) -> Floats:
    """Coordinates of cards.

    Parameters
    ----------
    card : Card
        Scalars, or values of shape (n_parts, 1).
    constants : TypeConstants
        Of the type; `tnom` must be the card's.
    qs, rth : array
        Quasi-saturation drop at rated current [V] and thermal resistance during a reading [K/W]: not part of a card.

    Returns
    -------
    array, shape (n_parts, n_parameters)
        Effects absent from the card get values that leave them without influence (RB 10 uohm, VAF 100 kV, ...). The
        coordinates have
        RBM = 0 and NR = NF, and take VAR, IKR, ISC, NC from `constants`: a card that differs in these comes back
        approximately.

    Raises
    ------
    ValueError
        Card and constants are expressed at different temperatures.
    """
    if not np.allclose(card.tnom, constants.tnom):
        raise ValueError(f"the card holds at {card.tnom} K, the constants at {constants.tnom} K; move it with Card.at")
    is_, nf, ne = (np.asarray(v, dtype=float) for v in (card.is_, card.nf, card.ne))
    irb = np.where(np.isfinite(card.irb), card.irb, _NO_IRB * constants.ic_rated)
    values: dict[str, npt.ArrayLike] = {
        "is": is_, "nf": nf, "bf": card.bf, "ikf": np.minimum(card.ikf, _NO_KNEE),
        "leak": np.asarray(card.ise) * (is_ / LEAK_CURRENT) ** (-nf / ne), "ne": ne,
        "vaf": np.minimum(card.vaf, _NO_EARLY), "rb": card.rb, "irb": irb, "re": card.re, "rc": card.rc, "br": card.br,
        "cje": card.cje, "cjc": card.cjc, "nkf": card.nkf, "rth": rth,
    }  # fmt: skip
    columns = {name: np.asarray(v, dtype=float).reshape(-1) for name, v in values.items()}
    columns["qs"] = np.asarray(qs, dtype=float).reshape(-1)
    n_parts = max(column.shape[0] for column in columns.values())
    theta = np.empty((n_parts, N_PARAMETERS))
    for name, column in columns.items():
        theta[:, INDEX[name]] = column if name == "qs" else np.log(np.maximum(column, _FLOOR.get(name, 1e-300)))
    return theta


def constants_from_card(card: Card, polarity: str, ic_rated: float) -> TypeConstants:
    """What a fit takes as given, from a card of scalars."""
    return TypeConstants(
        polarity=polarity.upper(), ic_rated=ic_rated, isc=float(card.isc), nc=float(card.nc), var=float(card.var),
        ikr=float(card.ikr), eg=float(card.eg), xti=float(card.xti), xtb=float(card.xtb), vje=float(card.vje),
        mje=float(card.mje), vjc=float(card.vjc), mjc=float(card.mjc), fc=float(card.fc), tnom=float(card.tnom),
    )  # fmt: skip
