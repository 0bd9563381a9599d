"""Message catalogues in gettext's PO format: read and written, as far as these pages need it."""

import ast
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Final

_KEYWORDS: Final = ("msgctxt", "msgid_plural", "msgid", "msgstr")


class PoError(ValueError):
    """A file is no catalogue; the message names the line."""


@dataclass(frozen=True, slots=True)
class Message:
    """One message: the English, its plural if it has one, and what it is in the other language.

    `texts` holds one text, or one for each plural form; `places` are the files it stands in;
    `context` keeps apart what reads the same in English.
    """

    msgid: str
    texts: tuple[str, ...] = ()
    plural: str = ""
    context: str = ""
    places: tuple[str, ...] = ()
    fuzzy: bool = False
    obsolete: bool = False

    @property
    def key(self) -> tuple[str, str]:
        """Give what tells messages apart."""
        return self.context, self.msgid


def read_po(text: str) -> tuple[str, tuple[Message, ...]]:
    """Give the head (the text of the empty message) and all messages; PoError."""
    found = [_message(block) for block in _blocks(text)]
    head = next((m.texts[0] for m in found if not m.msgid and m.texts), "")
    return head, tuple(m for m in found if m.msgid)


def write_po(head: str, messages: Iterable[Message]) -> str:
    """Write a catalogue, the messages in their order."""
    blocks = [f'msgid ""\nmsgstr ""\n{_lines(head)}\n']
    blocks += [_block(m) for m in messages]
    return "\n".join(blocks)


def _blocks(text: str) -> Iterator[list[tuple[int, str]]]:
    block: list[tuple[int, str]] = []
    for number, line in enumerate(text.splitlines(), 1):
        if line.strip():
            block.append((number, line.strip()))
        elif block:
            yield block
            block = []
    if block:
        yield block


def _message(block: list[tuple[int, str]]) -> Message:
    made, parts = Message(""), dict[str, list[str]]()
    current: list[str] | None = None
    for number, line in block:
        if line.startswith("#:"):
            made = replace(made, places=(*made.places, *line[2:].split()))
        elif line.startswith("#,"):
            made = replace(made, fuzzy="fuzzy" in line)
        elif line.startswith("#~"):
            made = replace(made, obsolete=True)
        elif line.startswith('"') and current is not None:
            current.append(_unquoted(line, number))
        elif not line.startswith("#"):
            name, _, rest = line.partition(" ")
            if name.partition("[")[0] not in _KEYWORDS:
                raise PoError(f"line {number}: {name[:40]} is no word of a PO file")
            current = parts.setdefault(name, [])
            current.append(_unquoted(rest, number))
    said = {name: "".join(words) for name, words in parts.items()}
    texts = tuple(text for name, text in said.items() if name.startswith("msgstr"))
    return replace(
        made,
        msgid=said.get("msgid", ""),
        plural=said.get("msgid_plural", ""),
        context=said.get("msgctxt", ""),
        texts=texts,
    )


def _unquoted(text: str, number: int) -> str:
    try:
        value = ast.literal_eval(text.strip())
    except (SyntaxError, ValueError):
        value = None
    if not isinstance(value, str):
        raise PoError(f"line {number}: a text in quotes is missing")
    return value


def _block(message: Message) -> str:
    lines = [f"#: {place}\n" for place in message.places]
    if message.fuzzy:
        lines.append("#, fuzzy\n")
    if message.context:
        lines.append(f"msgctxt {_quoted(message.context)}\n")
    lines.append(f"msgid {_quoted(message.msgid)}\n")
    if message.plural:
        lines.append(f"msgid_plural {_quoted(message.plural)}\n")
        texts = message.texts or ("", "")
        lines += [f"msgstr[{i}] {_quoted(text)}\n" for i, text in enumerate(texts)]
    else:
        lines.append(f"msgstr {_quoted(message.texts[0] if message.texts else '')}\n")
    return "".join(lines)


def _lines(text: str) -> str:
    return "\n".join(_quoted(line) for line in text.splitlines(keepends=True))


def _quoted(text: str) -> str:
    shown = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n").replace("\t", "\\t")
    return f'"{shown}"'
