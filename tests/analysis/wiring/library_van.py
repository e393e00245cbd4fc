"""The mobile library's supply as found: invented for this project, simulated, with the classic faults together.

Amplifiers that ask several times what a thin aluminium run and its fuse can carry, the run split five ways at one
block without fuses, a thick lead fed by that thin run, a body stud stacked on washers, a fuse far from the battery.
"""

from __future__ import annotations

from analysis.wiring import (
    ALUMINIUM,
    CLAD_15,
    Alternator,
    Amplifier,
    Battery,
    Block,
    ChassisReturn,
    Conductor,
    Fuse,
    Joint,
    OtherLoad,
    System,
    size_of_awg,
    size_of_mm2,
)

BLOCK, GROUND_BLOCK = "load floor block", "ground block"


def library_van_found() -> System:
    """The system as the technician took it down."""
    return System(
        name="Mobile library van, reading-hour sound system (invented)",
        batteries=(
            Battery(
                name="starter battery",
                positive="battery +",
                negative="battery -",
                open_volts=12.7,
                ohm=6e-3,
                chemistry="flooded",
                capacity_ah=70,
            ),
        ),
        alternators=(
            Alternator(name="alternator", positive="alternator +", negative="engine block", rated_a=90, idle_a=45),
        ),
        amplifiers=_amplifiers(),
        other_loads=(OtherLoad(name="loan desk", positive="loan desk +", negative="loan desk -", amps=6.0),),
        conductors=(*_feed(), *_leads(), *_grounds()),
        joints=_joints(),
        fuses=(
            Fuse(name="main fuse", start="main fuse in", end="main fuse out", rated_a=40, ohm=1.6e-3, kind="blade"),
            Fuse(name="charging fuse", start="battery +", end="charging fuse out", rated_a=125, ohm=0.5e-3),
        ),
        chassis=(
            ChassisReturn(name="body, rear to middle", start="body rear", end="body middle", ohm=0.6e-3),
            ChassisReturn(name="body, middle to front", start="body middle", end="body front", ohm=0.5e-3),
        ),
        blocks=(
            Block(name=BLOCK, point="block", ways=6),
            Block(name=GROUND_BLOCK, point="ground block", ways=5),
        ),
        simulated=True,
    )


def _amplifiers() -> tuple[Amplifier, ...]:
    return (
        Amplifier(
            name="bass amplifier",
            positive="bass +",
            negative="bass -",
            rated_w=600,
            load_ohm=2.0,
            regulated=True,
            own_fuses_a=(30, 30),
            least_area_mm2=21.15,
        ),
        Amplifier(
            name="shelf amplifier",
            positive="shelf +",
            negative="shelf -",
            rated_w=300,
            load_ohm=4.0,
            regulated=True,
            own_fuses_a=(30,),
        ),
        Amplifier(
            name="reading corner amplifier",
            positive="corner +",
            negative="corner -",
            rated_w=200,
            load_ohm=4.0,
            kind="AB",
            efficiency=0.55,
            own_fuses_a=(30,),
        ),
        # 15 A x 14.4 V x 0.8 is 173 W: its plate promises more than its own fuse lets through.
        Amplifier(
            name="awning amplifier",
            positive="awning +",
            negative="awning -",
            rated_w=300,
            load_ohm=4.0,
            regulated=True,
            own_fuses_a=(15,),
        ),
    )


def _feed() -> tuple[Conductor, ...]:
    thin = size_of_awg("10")
    return (
        Conductor(
            name="run to main fuse",
            start="plus lug",
            end="main fuse in",
            size=thin,
            length_m=1.2,
            material=ALUMINIUM,
            insulation_c=105,
            engine_space=True,
        ),
        Conductor(
            name="main run",
            start="main fuse out",
            end="run at block",
            size=thin,
            length_m=4.8,
            material=ALUMINIUM,
        ),
        Conductor(
            name="charging lead",
            start="charging fuse out",
            end="alternator +",
            size=size_of_mm2(25),
            length_m=1.5,
            engine_space=True,
        ),
    )


def _leads() -> tuple[Conductor, ...]:
    return (
        Conductor(name="bass lead", start="bass way", end="bass +", size=size_of_awg("4"), length_m=0.8),
        Conductor(name="shelf lead", start="shelf way", end="shelf +", size=size_of_awg("10"), length_m=1.2),
        Conductor(name="corner lead", start="corner way", end="corner +", size=size_of_awg("12"), length_m=2.5),
        Conductor(
            name="awning lead",
            start="awning way",
            end="awning +",
            size=size_of_awg("12"),
            length_m=3.0,
            material=CLAD_15,
        ),
        Conductor(name="desk lead", start="desk way", end="loan desk +", size=size_of_awg("14"), length_m=2.0),
    )


def _grounds() -> tuple[Conductor, ...]:
    return (
        Conductor(name="bass ground", start="bass -", end="bass ground way", size=size_of_awg("4"), length_m=0.8),
        Conductor(name="shelf ground", start="shelf -", end="shelf ground way", size=size_of_awg("10"), length_m=1.2),
        Conductor(
            name="awning ground", start="awning -", end="awning ground way", size=size_of_awg("12"), length_m=3.0
        ),
        Conductor(name="desk ground", start="loan desk -", end="desk ground way", size=size_of_awg("14"), length_m=2.0),
        Conductor(name="corner ground", start="corner -", end="corner stud", size=size_of_awg("12"), length_m=0.4),
        Conductor(
            name="ground run",
            start="ground run way",
            end="body lug",
            size=size_of_awg("10"),
            length_m=0.9,
            material=ALUMINIUM,
        ),
        Conductor(name="battery strap", start="body front", end="minus lug", size=size_of_mm2(16), length_m=0.5),
        Conductor(name="engine strap", start="engine block", end="battery -", size=size_of_mm2(25), length_m=0.6),
    )


def _joints() -> tuple[Joint, ...]:
    ways = ("bass", "shelf", "corner", "awning", "desk")
    grounds = ("bass", "shelf", "awning", "desk")
    return (
        Joint(name="battery plus lug", start="battery +", end="plus lug", kind="crimped", ohm=0.2e-3),
        _terminal("block input", "run at block", "block", BLOCK),
        *(_terminal(f"block way, {one}", "block", f"{one} way", BLOCK) for one in ways),
        *(_terminal(f"ground way, {one}", f"{one} ground way", "ground block", GROUND_BLOCK) for one in grounds),
        _terminal("ground block output", "ground block", "ground run way", GROUND_BLOCK),
        Joint(name="body stud", start="body lug", end="body rear", kind="through washers", ohm=6e-3),
        Joint(name="corner body bolt", start="corner stud", end="body middle", kind="bolted", ohm=0.2e-3),
        Joint(name="battery minus lug", start="minus lug", end="battery -", kind="crimped", ohm=0.2e-3),
    )


def _terminal(name: str, start: str, end: str, block: str) -> Joint:
    return Joint(name=name, start=start, end=end, kind="set-screw", ohm=0.3e-3, block=block)
