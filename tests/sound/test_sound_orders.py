"""Orders of the candidates."""

from __future__ import annotations

import pytest

from axlewright.errors import InputError
from axlewright.sound import AxleOrders, Bearing, bearing_orders, candidate_sources


def orders_of(axle: AxleOrders) -> dict[str, tuple[float, ...]]:
    return {c.kind: c.orders for c in candidate_sources(axle)}


def test_orders_of_an_axle() -> None:
    orders = orders_of(AxleOrders(41, 11))
    assert orders["mesh"] == (41.0, 82.0, 123.0)
    assert orders["propshaft"] == pytest.approx((41 / 11, 82 / 11, 123 / 11))
    assert orders["joint"] == pytest.approx((82 / 11, 164 / 11))
    assert "joint" not in orders_of(AxleOrders(41, 11, joint=False))


def test_mesh_order_depends_on_the_ring_gear_alone() -> None:
    assert orders_of(AxleOrders(41, 11))["mesh"] == orders_of(AxleOrders(41, 12))["mesh"]


def test_pinion_bearing_turns_with_the_pinion() -> None:
    b = bearing_orders(17, 9.5, 60.0, 15.0)
    at_wheel = candidate_sources(AxleOrders(41, 11, (Bearing("wheel", b, "one"),)))
    at_pinion = candidate_sources(AxleOrders(41, 11, (Bearing("pinion", b, "one"),)))
    for slow, fast in zip(at_wheel, at_pinion, strict=True):
        if slow.kind == "bearing":
            assert fast.orders[0] == pytest.approx(slow.orders[0] * 41 / 11)


@pytest.mark.parametrize(("ring", "pinion"), [(11, 41), (41, 2), (0, 0), (200, 11), (30, 30)])
def test_teeth_that_make_no_axle(ring: int, pinion: int) -> None:
    with pytest.raises(InputError, match="teeth"):
        AxleOrders(ring, pinion)


@pytest.mark.parametrize("blocks", [0, 5, 500])
def test_tread_blocks_that_cannot_be(blocks: int) -> None:
    with pytest.raises(InputError, match="tread"):
        AxleOrders(41, 11, tread_blocks=blocks)


@pytest.mark.parametrize(
    ("elements", "d", "pitch"), [(2, 8.0, 40.0), (9, 50.0, 40.0), (9, 0.0, 40.0), (40, 8.0, 40.0)]
)
def test_bearings_that_cannot_be(elements: int, d: float, pitch: float) -> None:
    with pytest.raises(InputError, match="bearing"):
        bearing_orders(elements, d, pitch)
