import pytest

from steadybead_dashboards.joined import NotJoinedError, joined_script


def joined(entry: str, **texts: str) -> str:
    return joined_script([entry], lambda name: texts[name.removesuffix(".js").replace("-", "_")])


def test_each_module_is_written_once_and_after_those_that_it_imports() -> None:
    text = joined(
        "page.js",
        page='import "./quiet.js";\nimport { a as b } from "./deep-one.js";\nb();\n',
        quiet='import { a } from "./deep-one.js";\na();\n',
        deep_one="const kept = 1;\nexport function a() { return kept; }\n",
    )
    assert text == (
        "const $deep_one = (() => {\nconst kept = 1;\nfunction a() { return kept; }\n"
        "return { a };\n})();\n"
        "const $quiet = (() => {\nconst { a } = $deep_one;\na();\nreturn {  };\n})();\n"
        "const $page = (() => {\nconst { a: b } = $deep_one;\nb();\nreturn {  };\n})();\n"
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('import { c } from "./deep.js";\n', "page.js: deep.js exports no c"),
        ('import * as deep from "./deep.js";\n', "page.js: this form cannot be joined: import *"),
        ("export default 1;\n", "this form cannot be joined: export default"),
        ("export let count = 0;\n", "this form cannot be joined: export let"),
        ("await fetch(1);\n", "this form cannot be joined: await fetch"),
        ("if (1) await fetch(1);\n", "this form cannot be joined: if"),
        ("const a = await fetch(1);\n", "this form cannot be joined: const a = await"),
        ('import "./page.js";\n', "page.js imports itself over page.js"),
    ],
)
def test_what_cannot_be_joined_is_refused_by_name(text: str, message: str) -> None:
    with pytest.raises(NotJoinedError, match=message.replace("*", r"\*")):
        joined("page.js", page=text, deep="export const a = 1;\n")
