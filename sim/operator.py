"""A scripted person at a simulated world's bench: proves it, teaches the eye, primes a tube."""

from __future__ import annotations

from sim.person import typed
from sim.rig_spec import LOAD_GAP_M
from sim.world import NotInTime, Refused, World

NAME = "the scripted operator"
CONNECT_LIMIT_S = 30.0
REST_S = 1.0
JOG_M = 0.005
JOGS_MAX = 12


def make_ready(world: World) -> None:
    """From power-up to a primed tube and a bench that takes portions.

    Raises Refused where the daemon does not let it, NotInTime where the bench does not get there.
    """
    connect(world)
    prove(world, 20)
    prove(world, 15)
    world.ask("here", position_m=world.rig.feed_m)
    world.ask("teach", what="empty")
    world.ask("drive", on=True)
    dry_stroke(world)
    fill(world, "tube-1")


def connect(world: World) -> None:
    """Wait until board and daemon know each other."""
    world.run_while(lambda w: w.app.state.link != "up", limit_s=CONNECT_LIMIT_S)


def prove(world: World, interlock: int) -> None:
    """Type what an interlock asks for, and clear it."""
    statements = world.ask("proofs", interlock=interlock)["statements"]
    words = [statement["word"] for statement in statements]
    world.ask("clear", interlock=interlock, name=NAME, words=words)


def dry_stroke(world: World) -> None:
    """Arm and fire a stroke outside a series, once the feed has rested."""
    world.run_for(REST_S)
    world.ask("arm")
    world.ask("fire")


def fill(world: World, tube: str) -> None:
    """Take a fresh tube to a flowing strand; the eye is taught on its first dough if it never saw
    any.

    Raises: NotInTime when no dough comes.
    """
    world.ask("tube_in", id=tube)
    world.ask("approach")
    if "thrust" not in world.app.state.facts.fitted:
        # The person sees how far the plunger is from the dough.
        while world.rig.feed_m < LOAD_GAP_M:
            world.ask("approach")
        world.ask("contact")
    if world.app.state.carry.eye_dough is None:
        for _ in range(JOGS_MAX):
            if world.rig.readings().dough_at_nozzle:
                break
            world.ask("jog", distance_m=JOG_M)
        else:
            raise NotInTime("No dough came out of the nozzle.")
        world.ask("teach", what="dough")
    if world.ask("prime")["ending"] != "flowing":
        raise NotInTime("The strand does not flow.")
    dry_stroke(world)


def on_the_pan(world: World) -> dict[int, float]:
    """What the scale shows for each portion that fell, all its pieces on the pan [kg]."""
    shown: dict[int, float] = {}
    for piece in world.rig.pieces():
        if piece.portion:
            shown[piece.portion] = shown.get(piece.portion, 0.0) + piece.scale_kg
    return shown


def weigh_all(world: World) -> None:
    """Type a weight for every portion that fell and has none yet, all its pieces on the pan, with
    the slips that the bench's faults say; asked whether a weight is meant, look at the scale
    again."""
    shown = on_the_pan(world)
    waiting = {at: shown[at] for at in world.app.state.carry.unweighed if at in shown}
    for portion, mass_kg in typed(waiting, world.rig.faults).items():
        if mass_kg is None:
            continue
        try:
            _weigh(world, portion, mass_kg)
        except Refused as refused:
            if not refused.reply.is_question:
                raise
            _weigh(world, portion, shown[portion], confirmed=True)


def _weigh(world: World, portion: int, mass_kg: float, **more: bool) -> None:
    world.ask("weigh", mass_kg=mass_kg, text=f"{mass_kg * 1e3:.1f}", portion=portion, **more)
