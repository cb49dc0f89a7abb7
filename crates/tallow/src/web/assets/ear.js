// Hands on what the microphone hears (Web Audio API, AudioWorklet).
"use strict";

registerProcessor("ear", class extends AudioWorkletProcessor {
  process([input]) {
    if (input[0]) this.port.postMessage(input[0].slice());
    return true;
  }
});
