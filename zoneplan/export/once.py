"""What follows from a plan alone is worked out once for it, however many of its files ask."""

import weakref
from collections.abc import Callable
from functools import update_wrapper
from typing import Concatenate, ParamSpec, TypeVar

from zoneplan.plan.model import Plan

P = ParamSpec("P")
T = TypeVar("T")


def once(make: Callable[Concatenate[Plan, P], T]) -> Callable[Concatenate[Plan, P], T]:
    """Keep what is made of a plan, and of arguments that can be a key, as long as the plan lives.

    All who ask get the same thing: it must not be changed.
    """
    values: dict[object, T] = {}

    def of(plan: Plan, /, *args: P.args, **kwargs: P.kwargs) -> T:
        key = (id(plan), args, tuple(kwargs.items()))
        if key not in values:
            values[key] = make(plan, *args, **kwargs)
            weakref.finalize(plan, values.pop, key, None).atexit = False
        return values[key]

    update_wrapper(of, make)
    return of
