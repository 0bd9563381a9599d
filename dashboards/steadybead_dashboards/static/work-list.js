/** The work list: prints itself. */
import "./quiet.js";

document.getElementById("print").addEventListener("click", () => print());
