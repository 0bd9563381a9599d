/** Pages without a live stream: only the clock and running lengths of time move. */
import { tick } from "./times.js";

tick();
setInterval(tick, 1_000);
