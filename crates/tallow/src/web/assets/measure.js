// Measurements work without this, by files that are sent and figures that are typed.
"use strict";

const RECORDED_S = 4;

// Samples from -1 to 1 as a WAV file of 16 bits, one channel.
const wav = (chunks, rate) => {
  const count = chunks.reduce((sum, chunk) => sum + chunk.length, 0);
  const view = new DataView(new ArrayBuffer(44 + 2 * count));
  const text = (at, letters) => [...letters].forEach((letter, i) => view.setUint8(at + i, letter.charCodeAt(0)));
  text(0, "RIFF"); view.setUint32(4, 36 + 2 * count, true); text(8, "WAVEfmt ");
  view.setUint32(16, 16, true); view.setUint16(20, 1, true); view.setUint16(22, 1, true);
  view.setUint32(24, rate, true); view.setUint32(28, 2 * rate, true); view.setUint16(32, 2, true); view.setUint16(34, 16, true);
  text(36, "data"); view.setUint32(40, 2 * count, true);
  let at = 44;
  for (const chunk of chunks) {
    for (const sample of chunk) {
      view.setInt16(at, Math.round(32767 * Math.max(-1, Math.min(1, sample))), true);
      at += 2;
    }
  }
  return view.buffer;
};

const wait = (seconds) => new Promise((done) => setTimeout(done, 1000 * seconds));

// A few seconds of the microphone as it is, without what makes speech clearer.
const recorded = async (ear, say) => {
  const sound = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 };
  const stream = await navigator.mediaDevices.getUserMedia({ audio: sound });
  const heard = new AudioContext();
  try {
    await heard.audioWorklet.addModule(ear);
    const chunks = [];
    const node = new AudioWorkletNode(heard, "ear", { numberOfOutputs: 0 });
    heard.createMediaStreamSource(stream).connect(node);
    await heard.resume();
    // The microphone settles before anything counts.
    await wait(0.5);
    node.port.onmessage = (event) => chunks.push(event.data);
    say("Be still …");
    await wait(1);
    say("Pluck the middle of the span once, now");
    await wait(RECORDED_S - 1);
    node.port.onmessage = null;
    return wav(chunks, heard.sampleRate);
  } finally {
    stream.getTracks().forEach((track) => track.stop());
    heard.close();
  }
};

for (const place of document.querySelectorAll("[data-ear]")) {
  const field = document.getElementById(place.dataset.into);
  const button = place.querySelector("button");
  const status = place.querySelector("[role=status]");
  const say = (words) => { status.textContent = words; };
  place.hidden = false;
  if (!navigator.mediaDevices?.getUserMedia || !window.AudioWorkletNode) {
    button.hidden = true;
    say("This browser does not hand on the microphone here. Over an encrypted connection it does; or send a recording.");
    continue;
  }
  button.addEventListener("click", async () => {
    button.disabled = true;
    try {
      const bytes = await recorded(place.dataset.ear, say);
      const files = new DataTransfer();
      files.items.add(new File([bytes], `${place.dataset.name}.wav`, { type: "audio/wav" }));
      field.files = files.files;
      say(`Recorded, ${RECORDED_S} s. Measure it, or record it again.`);
    } catch (error) {
      say(`Nothing was recorded (${error.name}). Allow the microphone, or send a recording.`);
    }
    button.disabled = false;
  });
}

// Points of a photo: two that are a known length apart, then the two ends of the line across the marks.
const SAYS = [
  "Tap one end of a length that you know.", "Tap its other end.",
  "Tap where the line across the marks begins.", "Tap where it ends.", "All four are set. Tap again to begin anew.",
];
for (const place of document.querySelectorAll("[data-points]")) {
  const form = place.closest("form");
  const field = form.querySelector("input[type=file]");
  const [image, drawn, status] = ["img", "svg", "[role=status]"].map((name) => place.querySelector(name));
  const length = place.querySelector("input");
  let points = [];
  const told = () => {
    status.textContent = SAYS[points.length];
    drawn.setAttribute("viewBox", `0 0 ${image.naturalWidth} ${image.naturalHeight}`);
    const r = image.naturalWidth / 60;
    drawn.replaceChildren(...points.flatMap(({ x, y }, i) => ["under", "over"].map((kind) => {
      const mark = document.createElementNS("http://www.w3.org/2000/svg", "path");
      mark.setAttribute("class", kind);
      const arm = i < 2 ? `M${x - r} ${y}H${x + r}M${x} ${y - r}V${y + r}` : `M${x - r} ${y - r}L${x + r} ${y + r}M${x - r} ${y + r}L${x + r} ${y - r}`;
      mark.setAttribute("d", arm);
      return mark;
    })));
    const pixels = points.length < 2 ? 0 : Math.hypot(points[1].x - points[0].x, points[1].y - points[0].y);
    const mm = Number.parseFloat(length.value.replace(",", "."));
    const set = (name, value) => { form.elements[name].value = value; };
    if (0 < pixels && 0 < mm) set("mm_per_pixel", (mm / pixels).toPrecision(6));
    ["from", "to"].forEach((name, i) => points[2 + i] && set(name, `${points[2 + i].x.toFixed(1)}, ${points[2 + i].y.toFixed(1)}`));
  };
  field.addEventListener("change", () => {
    points = [];
    place.hidden = !field.files.length;
    if (!field.files.length) return;
    image.addEventListener("load", () => { told(); URL.revokeObjectURL(image.src); }, { once: true });
    image.src = URL.createObjectURL(field.files[0]);
  });
  length.addEventListener("input", told);
  image.parentElement.addEventListener("click", (event) => {
    const seen = image.getBoundingClientRect();
    const x = (event.clientX - seen.left) * image.naturalWidth / seen.width;
    const y = (event.clientY - seen.top) * image.naturalHeight / seen.height;
    points = points.length === 4 ? [] : points;
    points.push({ x, y });
    told();
  });
}
