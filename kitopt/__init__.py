"""kitopt picks an off-grid radio power kit from an inventory, proves it and argues for it.

    import kitopt

    inventory = kitopt.read_inventory("my-kit")
    operation = kitopt.read_operation("my-kit/operation.toml")
    result = kitopt.pack(operation, inventory, without="lfp-30")
    result.status, result.to_dict(), result.to_frame()

Everything is loaded on first use: importing kitopt costs nothing.
"""

# no import here that runs: until the command line has its own handler an interrupt would be a traceback
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from kitopt.errors import BadInput, Fault, KitoptError
    from kitopt.interface.argument import Argument
    from kitopt.interface.calls import buy, grab_kit, pack, share, why
    from kitopt.interface.in_field import FieldResult, Learned, keep, learned, reading, site_at, sun
    from kitopt.interface.in_hand import Lasting, now
    from kitopt.interface.region import Studied, answer_study
    from kitopt.interface.result import Result
    from kitopt.inventory.demo import demo_folder
    from kitopt.inventory.items import Inventory
    from kitopt.inventory.read import read_inventory
    from kitopt.operation.plans import Programme, Standing
    from kitopt.operation.read import read_operation
    from kitopt.operation.read_plans import read_programme, read_standing
    from kitopt.operation.terms import Operation
    from kitopt.study.read import read_study
    from kitopt.study.terms import Study

__version__ = "0.1.0"

__all__ = [
    "Argument",
    "BadInput",
    "Fault",
    "FieldResult",
    "Inventory",
    "KitoptError",
    "Lasting",
    "Learned",
    "Operation",
    "Programme",
    "Result",
    "Standing",
    "Studied",
    "Study",
    "__version__",
    "answer_study",
    "buy",
    "demo_folder",
    "grab_kit",
    "keep",
    "learned",
    "now",
    "pack",
    "read_inventory",
    "read_operation",
    "read_programme",
    "read_standing",
    "read_study",
    "reading",
    "share",
    "site_at",
    "sun",
    "why",
]

_HOMES = {
    **dict.fromkeys(("BadInput", "Fault", "KitoptError"), "errors"),
    **dict.fromkeys(("buy", "grab_kit", "pack", "share", "why"), "interface.calls"),
    **dict.fromkeys(("FieldResult", "Learned", "keep", "learned", "reading", "site_at", "sun"), "interface.in_field"),
    **dict.fromkeys(("Lasting", "now"), "interface.in_hand"),
    **dict.fromkeys(("read_programme", "read_standing"), "operation.read_plans"),
    **dict.fromkeys(("Programme", "Standing"), "operation.plans"),
    "Argument": "interface.argument",
    "Inventory": "inventory.items",
    **dict.fromkeys(("Studied", "answer_study"), "interface.region"),
    "Operation": "operation.terms",
    "Study": "study.terms",
    "Result": "interface.result",
    "demo_folder": "inventory.demo",
    "read_inventory": "inventory.read",
    "read_operation": "operation.read",
    "read_study": "study.read",
}
"""Where each exported name is defined."""


def __getattr__(name: str) -> "Any":
    from importlib import import_module

    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
