"""The network against ngspice, and against laws and closed forms."""

from __future__ import annotations

import cmath
import math
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from capture import FaultyVehicle, random_vehicle
from capture._simulated_system._faulty_vehicle import under_step
from capture._simulated_system._network import respond
from capture._simulated_system._parts import Emitter, OperatingPoint, SoundSystem
from capture._simulated_system._waves import falling

NAMES = ("s", "p", "a")


def _one_line(system: SoundSystem, hz: float, amperes: float) -> SoundSystem:
    """The same system with its alternator's couplings, but a single tone instead of its comb."""
    own = next(one for one in system.emitters if one.name == "alternator")
    tone = replace(
        own, comb=falling(1, 1.0), law="fixed", base=hz, level=amperes, group="converter", needs_engine=False
    )
    return replace(system, emitters=(tone,))


def _deck(system: SoundSystem, hz: float, amperes: float) -> str:
    """Battery, boxes, body, leads and straps as a circuit; sources are complex, as their phases."""
    one = system.emitters[0]
    jw = 2j * math.pi * hz
    lines = [f"I1 0 bat AC {amperes * one.through_battery} 0"]
    lines += [f"Rb bat b1 {system.battery[0]}", f"Lb b1 0 {system.battery[1]}"]
    lines += [_source("Vsh", "feed", "bat", amperes * (one.shared[0] + jw * one.shared[1]))]
    for place, name in enumerate(NAMES):
        box = system.boxes[place]
        if box.floating:
            lines += [f"Rx{name} {name} 0 1g"]
            continue
        body = one.ground_ohm[place] + jw * one.ground_h[place] + one.joint[place] * box.joint_ohm
        lines += [
            f"Rf{name} {'feed' if name == 'p' else 'bat'} x{name} {box.feed_ohm}",
            f"Cf{name} x{name} {name} {box.input_farad}",
            f"Rg{name} {name} g{name} {box.ground[0] + box.joint_ohm}",
            f"Lg{name} g{name} h{name} {box.ground[1]}",
            _source(f"Vg{name}", f"h{name}", "0", amperes * body),
        ]
    for number, lead in enumerate(system.leads):
        if not lead.plugged:
            continue
        first, second = NAMES[number], NAMES[number + 1]
        lines += [
            f"Rs{number} {first} u{number} {lead.sender_ohm}",
            f"Rt{number} u{number} v{number} {lead.shield_ohm}",
        ]
        far = second if lead.transformer_farad is None else f"y{number}"
        lines += [f"Lt{number} v{number} w{number} {lead.shield_h}", f"Rr{number} w{number} {far} {lead.receiver_ohm}"]
        lines += [] if lead.transformer_farad is None else [f"Ct{number} {far} {second} {lead.transformer_farad}"]
    for number, (strap, ends) in enumerate(zip(system.straps, (("s", "a"), ("p", "a"), ("a", "0")), strict=True)):
        if strap is not None:
            lines += [f"Rz{number} {ends[0]} z{number} {strap[0]}", f"Lz{number} z{number} {ends[1]} {strap[1]}"]
    shield = f"abs((v(u1)-v(v1))/{system.leads[1].shield_ohm})" if system.leads[1].plugged else "0*abs(v(p))"
    measured = ["let supply = abs(v(bat))", "let offset = abs(v(p)-v(a))", f"let shield = {shield}"]
    control = [
        ".control",
        f"ac lin 1 {hz} {hz}",
        *measured,
        "print supply offset shield",
        "quit 0",
        ".endc",
        ".end",
        "",
    ]
    return "\n".join(["network", *lines, *control])


def _source(name: str, plus: str, minus: str, volts: complex) -> str:
    size, phase = cmath.polar(volts)
    return f"{name} {plus} {minus} AC {size} {math.degrees(phase)}"


def _ngspice(deck: str, folder: Path) -> dict[str, float]:
    program = shutil.which("ngspice")
    if program is None:
        pytest.skip("ngspice is not installed")
    (folder / "deck.cir").write_text(deck)
    done = subprocess.run(
        [program, "-b", "-n", "deck.cir"], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )
    output = done.stdout + done.stderr
    found = {name: float(value) for name, value in re.findall(r"(?m)^(\w+)\s*=\s*([-+0-9.eE]+)", output)}
    assert {"supply", "offset", "shield"} <= found.keys(), output
    return found


@pytest.mark.parametrize(
    ("fault", "step", "hz"),
    [
        ("shield-loop", "baseline", 2345.0),
        ("shield-loop", "isolated-lead", 911.0),
        ("bad-ground", "baseline", 147.0),
        ("bad-ground", "strap-processor", 3071.0),
        ("bad-ground", "strap-source", 1733.0),
        ("bad-ground", "strap-amplifier", 640.0),
        ("shared-supply", "baseline", 1210.0),
        ("shared-supply", "own-feed", 530.0),
        ("supply-ripple", "baseline", 2870.0),
        ("open-signal-ground", "own-battery", 4100.0),
    ],
)
def test_ngspice_gives_the_same_volts_and_amperes(fault: str, step: str, hz: float, tmp_path: Path) -> None:
    """The same circuit, written as a netlist from the same parts."""
    vehicle = random_vehicle(21, fault)
    system, point = under_step(replace(vehicle, system=_one_line(vehicle.system, hz, 2.5)), step)
    heard = respond(system, point)
    found = _ngspice(_deck(system, hz, 2.5), tmp_path)
    assert abs(heard.supply[0]) == pytest.approx(found["supply"], rel=1e-4)
    assert abs(heard.taps["ground-offset"][0]) == pytest.approx(found["offset"], rel=1e-4)
    assert abs(heard.taps["current"][0]) == pytest.approx(found["shield"], rel=1e-4, abs=1e-12)


# ---------------------------------------------------------------- laws


def _bare(vehicle: FaultyVehicle) -> tuple[SoundSystem, Emitter]:
    """No hiss, no supply or ground coupling: only what a test adds."""
    boxes = tuple(replace(box, supply_leak=0.0) for box in vehicle.system.boxes)
    own = next(one for one in vehicle.system.emitters if one.name == "alternator")
    quiet = replace(
        own, comb=falling(1, 1.0), group="converter", law="fixed", level=1.0, through_battery=0.0,
        ground_ohm=(0, 0, 0), ground_h=(0, 0, 0), joint=(0, 0, 0), lead_h=(0, 0), shared=(0, 0), panel=(0, 0),
        inside=(0, 0, 0, 0), antenna=0.0, needs_engine=False, lamp=False, blower=False,
    )  # fmt: skip
    return replace(vehicle.system, boxes=(boxes[0], boxes[1], boxes[2]), hiss=(0, 0, 0, 0)), quiet


def _signal(system: SoundSystem, emitter: Emitter, hz: float) -> float:
    heard = respond(replace(system, emitters=(replace(emitter, base=hz),)), OperatingPoint(1700.0))
    return float(abs(heard.taps["signal"][0]))


def test_a_wire_induces_two_pi_f_m_i_in_the_lead() -> None:
    """Faraday's law: 1 A through 20 nH at 1234 Hz is 155.07 microvolts, and twice that at twice the frequency."""
    system, quiet = _bare(random_vehicle(3, "none"))
    near = replace(quiet, lead_h=(0.0, 20e-9))
    assert _signal(system, near, 1234.0) == pytest.approx(155.07e-6, rel=1e-4)
    assert _signal(system, near, 2468.0) == pytest.approx(310.13e-6, rel=1e-4)


def test_a_tied_shield_leaves_its_share_of_the_ground_difference_in_the_signal() -> None:
    """Well below the shield's cut-off R / (2 pi L) it divides as resistances do; above it falls as 1 / f."""
    system, quiet = _bare(random_vehicle(3, "none"))
    lead = replace(
        system.leads[1], shield_ohm=0.06, shield_h=2e-6, sender_ohm=0.02, receiver_ohm=0.02, sender_leak=0.0,
        receiver_leak=0.0,
    )  # fmt: skip
    stiff = tuple(replace(box, ground=(1e-6, 0.0), joint_ohm=0.0) for box in system.boxes)
    system = replace(
        system, leads=(replace(system.leads[0], plugged=False), lead), boxes=(stiff[0], stiff[1], stiff[2])
    )
    lifted = replace(quiet, ground_ohm=(0.0, 5e-3, 0.0))
    assert _signal(system, lifted, 50.0) == pytest.approx(5e-3 * 0.06 / 0.1, rel=1e-3)
    high, higher = _signal(system, lifted, 100_00.0), _signal(system, lifted, 19_900.0)
    assert high == pytest.approx(5e-3 * 0.06 / abs(0.1 + 2j * math.pi * 1e4 * 2e-6), rel=1e-3)
    assert higher < 0.7 * high


def test_twice_the_current_makes_twice_the_noise_and_emitters_add_as_they_are() -> None:
    """A linear network: superposition."""
    vehicle = random_vehicle(11, "bad-ground")
    whole = respond(vehicle.system, vehicle.point)
    single = respond(replace(vehicle.system, emitters=vehicle.system.emitters[:1]), vehicle.point)
    assert whole.taps["speaker"][whole.owner == 0] == pytest.approx(single.taps["speaker"])
    double = respond(vehicle.system, vehicle.point, factors=[2.0] * len(vehicle.system.emitters))
    for tap in whole.taps:
        assert np.allclose(double.taps[tap], 2 * whole.taps[tap])


def test_nothing_is_heard_of_grounds_that_move_together() -> None:
    """All cases lifted by the same volts: no current in any shield."""
    vehicle = random_vehicle(5, "shield-loop")
    system, quiet = _bare(vehicle)
    boxes = tuple(replace(box, input_farad=1e-12) for box in system.boxes)
    system = replace(system, boxes=(boxes[0], boxes[1], boxes[2]))
    one, all_ = replace(quiet, ground_ohm=(0.0, 1e-3, 0.0)), replace(quiet, ground_ohm=(1e-3, 1e-3, 1e-3))
    assert _signal(system, all_, 700.0) < 1e-6 * _signal(system, one, 700.0)


def test_the_whine_grows_with_the_charging_current() -> None:
    """The ripple is a fixed share of the mean current (current-fed bridge)."""
    vehicle = random_vehicle(8, "lead-pick-up")
    with_loads, without = (respond(vehicle.system, replace(vehicle.point, lamps=on, blower=on)) for on in (True, False))
    always, lamps, blower = vehicle.system.charging_a
    ratio = abs(with_loads.supply[0]) / abs(without.supply[0])
    assert ratio == pytest.approx((always + lamps + blower) / always)
