// Pages work without this. It makes them quicker.
"use strict";

// What was refused is read out and seen first.
document.querySelector(".trouble")?.focus();
