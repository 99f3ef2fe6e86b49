"""The steps of commissioning in the order in which they are taken, what each leans on, and which of them light the ring."""

from collections.abc import Mapping

from shared.protocol.commissioning import Walk

NEEDS: Mapping[Walk, tuple[Walk, ...]] = {
    "dark": (),
    "defects": ("dark",),
    "flat": ("dark", "defects"),
    "gain": ("dark", "defects"),
    "light": (),
    "scale": ("dark", "defects"),
    "sharpness": ("dark", "defects"),
    "leakage": ("dark", "defects", "flat"),
    "sensitivity": ("dark", "defects", "flat", "scale"),
}
LIGHTS = frozenset(NEEDS) - {"dark"}
