"""What hangs, what falls, what stays on the blade."""

from __future__ import annotations

import pytest

from sim.plant.strand import SLIVER_KG, Piece, Strand

AREA_M2 = 4.5e-4
DENSITY = 1150.0


def hanging(mass_kg: float, hold_kg: float = 0.09) -> Strand:
    strand = Strand(AREA_M2, DENSITY, hold_kg)
    strand.add(mass_kg / DENSITY, mass_kg)
    return strand


def test_length_is_mass_by_area_and_density() -> None:
    assert hanging(0.030).length_m == pytest.approx(0.030 / (DENSITY * AREA_M2))


def test_a_swollen_strand_is_wider_and_so_shorter() -> None:
    # By hand: as much dough in 1.2 times the diameter is 1.44 times shorter.
    swollen = Strand(AREA_M2, DENSITY, 0.09, 1.2)
    swollen.add(0.030 / DENSITY, 0.030)
    assert swollen.length_m == pytest.approx(hanging(0.030).length_m / 1.44)


def test_a_clean_cut_takes_all() -> None:
    strand = hanging(0.030)
    strand.sever(4.0, 7, 0.0, 0.0)
    assert strand.pieces == [Piece(4.0, 0.030, 7)]
    assert strand.hanging_kg == 0.0


def test_hang_up_and_stuck_go_with_the_next_piece() -> None:
    strand = hanging(0.030)
    strand.sever(1.0, 1, 0.2, 0.5)
    strand.add(0.024 / DENSITY, 0.024)
    strand.sever(2.0, 2, 0.0, 0.0)
    assert [piece.mass_kg for piece in strand.pieces] == pytest.approx([0.012, 0.042])


def test_a_smear_is_waste_not_a_piece() -> None:
    strand = hanging(0.9 * SLIVER_KG)
    strand.sever(1.0, 0, 0.0, 0.0)
    assert strand.pieces == []
    assert strand.waste_kg == pytest.approx(0.9 * SLIVER_KG)


def test_too_heavy_a_strand_tears_off() -> None:
    strand = hanging(0.08)
    strand.add(0.02 / DENSITY, 0.02)
    assert strand.hanging_kg == 0.0
    assert strand.waste_kg == pytest.approx(0.10)


def test_a_gap_passes_with_the_strand() -> None:
    strand = hanging(0.010)
    strand.pop(2.25e-6)
    assert strand.gap_m == pytest.approx(0.005)
    strand.add(0.002 * AREA_M2, 0.001)
    assert strand.gap_m == pytest.approx(0.003)
    strand.add(0.004 * AREA_M2, 0.002)
    assert strand.gap_m == 0.0
