"""What a row of the table of stages is: a stage's level, options, parts, and what follows from these.

Light on purpose: it is imported at the start of every stage.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Literal

Level = Literal["recordings", "test", "compound", "rig", "method", "comparison", "pair"]

#: folder of a level's results below the results
FOLDERS: dict[Level, str] = {
    "recordings": "channels",
    "test": "{method}/tests/{test}",
    "compound": "{method}/compounds/{compound}",
    "rig": "{method}/rigs",
    "method": "{method}",
    "comparison": "deltas/{a}--{b}",
    "pair": "{method}/comparisons/{one}--{other}",
}


@dataclass(frozen=True)
class Option:
    """An option of a sub-command. `value` is where the stage's rule has it, in Snakemake's words.

    An empty value stands for none: None, or an empty list where the option takes many.
    """

    flag: str
    value: str
    path: bool = True
    many: bool = False
    required: bool = True
    about: str | None = None
    named: str = ""  # argument of the stage's call, where it is not the flag

    @property
    def argument(self) -> str:
        return self.named or self.flag

    @property
    def shell(self) -> str:
        """One value is joined to its flag, as it may look like a flag itself."""
        return f"--{self.flag} {self.value}" if self.many else f"--{self.flag}={self.value}"


@dataclass(frozen=True)
class Part:
    """A call with the files that it writes; where it fails, these carry the fault and the stage's other parts go on."""

    call: str  # module:function
    outputs: tuple[str, ...]
    takes: tuple[str, ...] | None = None  # arguments, where it takes not all of the stage's
    carries: bool = True  # whether its files can carry a fault: nobody could read a list of tests that says it is none
    subject: str = ""  # in what is said of a fault, where it is not the stage's


@dataclass(frozen=True)
class Stage:
    """A rule of the Snakefile and its sub-command."""

    name: str
    about: str
    level: Level
    subject: str  # whom it works on, from the arguments: first in every message
    options: tuple[Option, ...]
    parts: tuple[Part, ...]
    settings: tuple[str, ...] = ()
    code: tuple[str, ...] = ()
    once: str = ""  # call whose result is handed to every part, together with the part's one file

    @property
    def asks(self) -> bool:
        """Whether the method decides anything in it, be it only by a revision."""
        return "settings" in (option.flag for option in self.options)

    @property
    def outputs(self) -> tuple[str, ...]:
        return tuple(name for part in self.parts for name in part.outputs)

    @property
    def files(self) -> dict[str, str]:
        """Files of the results by a short name: the stem, or the ending where several share the stem or it is a
        wildcard, both where several share that too.
        """
        paths = [PurePosixPath(FOLDERS[self.level], name) for name in self.outputs]
        own = [path.stem for path in paths]
        for longer in ([path.suffix[1:] for path in paths], [path.name.replace(".", "_") for path in paths]):
            known = Counter(own)
            fits = [known[name] == 1 and name.isidentifier() for name in own]
            own = [name if fit else other for name, fit, other in zip(own, fits, longer, strict=True)]
        return {name: str(path) for name, path in zip(own, paths, strict=True)}

    @property
    def shell(self) -> str:
        """The sub-command with its options, for Snakemake to fill in."""
        given = " --given={input.given:q}" if self.asks else ""
        return " ".join([self.name, *(option.shell for option in self.options)]) + given
