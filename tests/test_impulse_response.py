"""The split of a tap's energy: closed forms, time integration, and independence of how a close pair of modes is turned."""

import numpy as np
import pytest
from scipy.linalg import expm

from fem.impulse_response import impulse_response

OMEGA = 2 * np.pi * np.array([100.0, 140.0, 230.0])


def part(omega, eta, vectors):
    """Stiffness of a part that stores the energy of motion along `vectors` (k, n), and its losses."""
    V = np.asarray(vectors, float) * omega
    K = V.T @ V
    return K, eta * K


def two_parts(omega, seed=1):
    """Random split of diag(omega^2) in two parts with loss factors .01 and .03."""
    rng = np.random.default_rng(seed)
    Q, _ = np.linalg.qr(rng.standard_normal((len(omega),) * 2))
    share = Q @ np.diag(rng.uniform(0.1, 0.9, len(omega))) @ Q.T
    W = np.diag(omega)
    K = {"a": W @ share @ W, "b": W @ (np.eye(len(omega)) - share) @ W}
    return K, {"a": 0.01 * K["a"], "b": 0.03 * K["b"]}


def test_one_mode_in_closed_form():
    """Energy of one mode falls as exp(-eta omega t): ring time 1/(eta omega), up to (eta/2)^2; heat by loss times share."""
    omega = OMEGA[:1]
    K = {"rim": np.array([[0.2]]) * omega**2, "top": np.array([[0.8]]) * omega**2}
    found = impulse_response(omega, {"rim": 0.03 * K["rim"], "top": 0.01 * K["top"]}, K, np.array([1.0]))
    eta = 0.2 * 0.03 + 0.8 * 0.01
    assert found.ring_time == pytest.approx(1 / (eta * omega[0]), rel=1e-4)
    assert found.heat["rim"] == pytest.approx(0.2 * 0.03 / eta, rel=1e-9)
    assert found.stored["rim"] == pytest.approx(0.2, rel=1e-9)


def test_against_integration_in_time():
    K, H = two_parts(OMEGA)
    impulse = np.array([1.0, -0.5, 0.3])
    found = impulse_response(OMEGA, H, K, impulse)
    root = np.sqrt(OMEGA)
    C = {p: h / root[:, None] / root for p, h in H.items()}
    A = np.block([[np.zeros((3, 3)), np.eye(3)], [-np.diag(OMEGA**2), -sum(C.values())]])
    dt = 2e-5
    half, step = expm(A * dt / 2), expm(A * dt)
    x = half @ np.r_[np.zeros(3), impulse / np.linalg.norm(impulse)]  # in the middle of the first step
    heat, stored, ring = dict.fromkeys(K, 0.0), dict.fromkeys(K, 0.0), 0.0
    for _ in range(60000):
        q, v = x[:3], x[3:]
        for p in K:
            heat[p] += dt * v @ C[p] @ v * 2
            stored[p] += dt * q @ K[p] @ q
        ring += dt * (v @ v + q @ np.diag(OMEGA**2) @ q)
        x = step @ x
    assert found.heat == pytest.approx(heat, rel=2e-3)  # midpoint rule, 5 us at 230 Hz
    assert found.ring_time == pytest.approx(ring, rel=2e-3)
    whole = sum(stored.values())
    assert found.stored == pytest.approx({p: e / whole for p, e in stored.items()}, rel=2e-3)


def test_everything_sums_to_one():
    K, H = two_parts(OMEGA, seed=3)
    found = impulse_response(OMEGA, H, K, np.array([0.2, 1.0, -2.0]))
    assert sum(found.heat.values()) == pytest.approx(1, abs=1e-9)
    assert sum(found.stored.values()) == pytest.approx(1, abs=1e-12)


def test_a_close_pair_may_be_turned():
    """Two modes 1e-6 apart: a turn of the pair, with its matrices, leaves the split; a sum over modes one by one would not."""
    omega = 2 * np.pi * np.array([100.0, 100.0001])
    K, H = two_parts(omega, seed=5)
    impulse = np.array([1.0, 0.4])
    c, s = np.cos(0.7), np.sin(0.7)
    turn = np.array([[c, -s], [s, c]])
    turned = impulse_response(
        omega, *({p: turn.T @ m @ turn for p, m in group.items()} for group in (H, K)), turn.T @ impulse
    )
    straight = impulse_response(omega, H, K, impulse)
    assert turned.heat == pytest.approx(straight.heat, rel=1e-3)
    w = impulse**2 / (impulse @ impulse)
    one_by_one = sum(w * np.diag(H["a"]) / np.diag(H["a"] + H["b"]))
    other = turn.T @ impulse
    w = other**2 / (other @ other)
    a, b = (turn.T @ H[p] @ turn for p in ("a", "b"))
    assert abs(sum(w * np.diag(a) / np.diag(a + b)) / one_by_one - 1) > 0.01
