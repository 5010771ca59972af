"""Joint coordinate system: published definitions, scipy, and finite differences.

Sources: ISB (Wu et al., J Biomech 2002;35:543-8), Grood & Suntay (J Biomech Eng 1983;105:136-44), scipy's intrinsic
``'ZXY'``. The vectors were computed from those definitions with numpy and scipy, not with this package.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback.body import jcs
from imufeedback.body.matrices import from_q
from imufeedback.records import Side

# raw α, β, γ in degrees; q pelvis→femur, scalar first; thigh axis projected on the sagittal plane; included angle
VECTORS = {
    "A": ((30, -10, 15), (0.956962, -0.117120, 0.103234, 0.244640), 30.0, 31.475),
    "B": ((90, 0, 20), (0.696364, -0.122788, 0.122788, 0.696364), 90.0, 90.0),
    "C": ((30, 10, -15), (0.956962, 0.117120, -0.103234, 0.244640), 30.0, 31.475),
    "D": ((-10, 5, -5), (0.994133, 0.039614, -0.047210, -0.088885), -10.0, 11.169),
    "E": ((45, -20, -10), (0.900590, -0.126973, -0.145498, 0.389418), 45.0, 48.359),
    "F": ((120, -30, 25), (0.520028, -0.307397, -0.114298, 0.788678), 120.0, 115.659),
    "G": ((20, -85, 10), (0.733538, -0.673953, -0.053587, 0.069553), 20.0, 85.302),
}
# what they mean: flexion, adduction, internal rotation
MEANING = {
    "A": (Side.RIGHT, (30, -10, 15)),
    "B": (Side.RIGHT, (90, 0, 20)),
    "C": (Side.LEFT, (30, -10, 15)),
    "D": (Side.RIGHT, (-10, 5, -5)),
}
MATRIX_OF_A = [[0.858988, -0.492404, 0.140278], [0.444041, 0.852869, 0.274669], [-0.254887, -0.173648, 0.951251]]


def zxy(raw_deg) -> np.ndarray:
    return Rotation.from_euler("ZXY", raw_deg, degrees=True).as_matrix()


def angles_deg(R) -> np.ndarray:
    return np.rad2deg(jcs.angles(np.asarray(R, dtype=float)))


def random_raw(n: int = 500) -> np.ndarray:
    rng = np.random.default_rng(5)
    return rng.uniform((-180, -86, -180), (180, 86, 180), (n, 3))


@pytest.fixture(params=VECTORS, ids=VECTORS)
def vector(request):
    raw, q, projected, included = VECTORS[request.param]
    return request.param, np.array(raw, dtype=float), np.array(q), projected, included


def test_vector_angles_from_the_matrix(vector):
    _, raw, *_ = vector
    np.testing.assert_allclose(jcs.angles(zxy(raw)), np.deg2rad(raw), atol=1e-12)


def test_vector_matrix_from_the_published_quaternion(vector):
    _, raw, q, *_ = vector
    np.testing.assert_allclose(Rotation.from_matrix(zxy(raw)).as_quat(scalar_first=True, canonical=True), q, atol=1e-6)
    # six digits of q are 1e-6 rad of orientation, which α and γ take up to 1/cos β times: 12 times in G
    gain = 1.0 / np.cos(np.deg2rad(raw[1]))
    np.testing.assert_allclose(jcs.angles(from_q(q)), np.deg2rad(raw), atol=2e-6 * gain)


def test_vector_projected_and_included_angle(vector):
    _, raw, _, projected, included = vector
    R = zxy(raw)
    thigh = -R[:, 1]
    assert np.rad2deg(np.arctan2(thigh[0], -thigh[1])) == pytest.approx(projected, abs=1e-6)
    assert angles_deg(R)[0] == pytest.approx(projected, abs=1e-6)
    assert np.rad2deg(np.arccos(R[1, 1])) == pytest.approx(included, abs=5e-4)


@pytest.mark.parametrize("name", MEANING)
def test_vector_in_clinical_words(name):
    side, meaning = MEANING[name]
    np.testing.assert_allclose(angles_deg(zxy(VECTORS[name][0])) * jcs.signs("hip", side), meaning, atol=1e-9)


def test_matrix_of_a():
    np.testing.assert_allclose(zxy(VECTORS["A"][0]), MATRIX_OF_A, atol=1e-6)
    np.testing.assert_allclose(angles_deg(MATRIX_OF_A), VECTORS["A"][0], atol=1e-4)


def test_both_in_a_world_frame():
    pelvis = np.array([0.925417, -0.059391, 0.336824, -0.163176])  # Ry(40)·Rz(-20)
    thigh = np.array([0.967944, 0.028251, 0.214588, 0.127432])  # Ry(25)·Rz(15)
    exact = Rotation.from_euler("YZ", [40, -20], degrees=True), Rotation.from_euler("YZ", [25, 15], degrees=True)
    for q, rotation in zip((pelvis, thigh), exact, strict=True):
        np.testing.assert_allclose(rotation.as_quat(scalar_first=True, canonical=True), q, atol=1e-6)
    P, T = (rotation.as_matrix() for rotation in exact)
    np.testing.assert_allclose(angles_deg(P.T @ T), (34.5108, -3.8410, -14.5108), atol=5e-5)
    np.testing.assert_allclose(angles_deg(from_q(pelvis).T @ from_q(thigh)), (34.5108, -3.8410, -14.5108), atol=2e-4)


def test_same_as_scipy():
    raw = random_raw()
    np.testing.assert_allclose(angles_deg(zxy(raw)), raw, atol=1e-9)
    np.testing.assert_allclose(jcs.angles(zxy(raw)), Rotation.from_matrix(zxy(raw)).as_euler("ZXY"), atol=1e-9)


def test_same_as_grood_and_suntay():
    """α = atan2(e2·Y, e2·X), β = asin(e1·e3), γ = atan2(e2·z, e2·x), e2 = e3 × e1 normalised."""
    for R in zxy(random_raw(100)):
        X, Y, e1 = np.eye(3)
        x, e3, z = R.T
        e2 = np.cross(e3, e1)
        e2 /= np.linalg.norm(e2)
        expected = (np.arctan2(e2 @ Y, e2 @ X), np.arcsin(e1 @ e3), np.arctan2(e2 @ z, e2 @ x))
        np.testing.assert_allclose(jcs.angles(R), expected, atol=1e-9)


def test_flexion_is_the_projected_thigh_angle():
    """For every |β| < 90°, whatever the adduction and rotation: the property that makes it "the thigh angle"."""
    R = zxy(random_raw())
    thigh = -R[:, :, 1]
    np.testing.assert_allclose(jcs.angles(R)[:, 0], np.arctan2(thigh[:, 0], -thigh[:, 1]), atol=1e-12)


def test_other_orders_would_be_noticed():
    """Pose A read in another order is wrong by degrees (reference values of the same computation)."""
    np.testing.assert_allclose(
        Rotation.from_matrix(zxy(VECTORS["A"][0])).as_euler("XYZ", degrees=True)[::-1], (29.8, 8.1, -16.1), atol=0.05
    )
    assert abs(angles_deg(zxy(VECTORS["A"][0]))[2] - 8.1) > 5


def test_rates_against_finite_differences():
    rng = np.random.default_rng(8)
    raw = np.deg2rad(rng.uniform((-30, -60, -60), (110, 60, 60), (200, 3)))
    rate = rng.normal(0, 3.0, raw.shape)
    h = 1e-6
    before, after = (Rotation.from_euler("ZXY", raw + s * h * rate) for s in (-1, 1))
    omega = (after * before.inv()).as_rotvec() / (2 * h)  # of the distal segment, proximal coordinates
    J = jcs.Coordinates.of(Rotation.from_euler("ZXY", raw).as_matrix()).matrix()
    np.testing.assert_allclose(np.einsum("nij,nj->ni", J, omega), rate, rtol=1e-6, atol=1e-6)


def test_no_jump_of_the_rate_at_the_half_turn():
    """170, 178, -175, -168: the angle wraps, the rate does not, and its sum is the 22° that were made."""
    flexion = np.deg2rad(np.linspace(170.0, 192.0, 221))
    raw = np.column_stack((flexion, np.full(221, 0.2), np.full(221, -0.1)))
    R = Rotation.from_euler("ZXY", raw).as_matrix()
    found = jcs.angles(R)
    assert np.ptp(found[:, 0]) > np.pi  # it does wrap here
    rate = jcs.Coordinates.of(R).matrix() @ np.array([0.0, 0.0, 1.0])  # 1 rad/s about the pelvis' z
    np.testing.assert_allclose(rate[:, 0], 1.0, atol=1e-9)
    np.testing.assert_allclose(rate[:, 1:], 0.0, atol=1e-9)


@pytest.mark.parametrize("middle", [87.5, 89.9, 90.0, 90.1, -89.9, -90.0, 92.0])
def test_near_the_pole_nothing_is_claimed(middle):
    found = angles_deg(zxy((20, middle, 10)))
    assert np.isnan(found[[0, 2]]).all()
    assert found[1] == pytest.approx(np.rad2deg(np.arcsin(np.sin(np.deg2rad(middle)))), abs=1e-5)


@pytest.mark.parametrize("middle", [86.5, -86.5, 80.0])
def test_three_degrees_from_the_pole_all_is_told(middle):
    np.testing.assert_allclose(angles_deg(zxy((20, middle, 10))), (20, middle, 10), atol=1e-6)


def test_near_the_pole_costs_one_sample_only():
    found = angles_deg(zxy([(20, 10, 5), (20, 90, 5), (20, 11, 5)]))
    np.testing.assert_array_equal(np.isnan(found[:, 0]), [False, True, False])


def test_both_ways_of_a_shared_heading():
    """Pelvis: heading 40, flexion 10. Thigh: heading 40, flexion 40. The joint has 30 / 0 / 0, not a mixture."""
    P, T = (Rotation.from_euler("YZ", [40, tilt], degrees=True).as_matrix() for tilt in (10, 40))
    np.testing.assert_allclose(angles_deg(P.T @ T), (30, 0, 0), atol=1e-9)
    assert not np.allclose(angles_deg(P @ T.T), (30, 0, 0), atol=5)


@pytest.mark.parametrize("offset_deg", [0.0, 37.0, -120.0, 179.0])
@pytest.mark.parametrize("raw", [(0, 0, 0), (35, -8, 0), (80, 15, 0), (-15, 5, 0)])
def test_rotation_free_heading_takes_the_heading_out(raw, offset_deg):
    """The turn about the vertical that it finds undoes an arbitrary heading, and leaves no hip rotation."""
    upright = Rotation.from_matrix(np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]]))
    P = Rotation.from_euler("z", 25, degrees=True) * upright * Rotation.from_euler("XZ", [4, -18], degrees=True)
    T = P * Rotation.from_euler("ZXY", raw, degrees=True)
    turned = Rotation.from_euler("z", offset_deg, degrees=True) * T
    delta = jcs.rotation_free_heading(P.as_matrix(), turned.as_matrix())
    back = Rotation.from_euler("z", delta) * turned
    np.testing.assert_allclose(angles_deg((P.inv() * back).as_matrix()), raw, atol=1e-7)
