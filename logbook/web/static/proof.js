// The print flips under the finger, with the phone, or by its slider. Nothing moves by itself.
'use strict';

const figure = document.querySelector('.proof-flip');
if (figure) {
  const stage = figure.querySelector('.turned');
  const canvas = figure.querySelector('canvas');
  const slider = figure.querySelector('input');
  const offer = figure.querySelector('.tilt');
  const views = Number(figure.dataset.views);
  const upDown = figure.dataset.way === 'up-down';
  const strip = new Image();

  const draw = () => {
    const at = slider.valueAsNumber;
    slider.setAttribute('aria-valuetext', `view ${at + 1} of ${views}`);
    if (!strip.naturalHeight || figure.dataset.shown === String(at)) return;
    const high = strip.naturalHeight / views;
    canvas.getContext('2d').drawImage(strip, 0, at * high, strip.naturalWidth, high, 0, 0, canvas.width, canvas.height);
    figure.dataset.shown = at;
  };
  const show = (part) => { // 0 to 1, from the first view to the last
    slider.value = Math.max(0, Math.min(views - 1, Math.floor(part * views)));
    draw();
  };
  strip.addEventListener('load', draw);
  strip.src = figure.dataset.strip;
  slider.addEventListener('input', draw);

  stage.addEventListener('pointerdown', (event) => {
    stage.setPointerCapture(event.pointerId);
    drag(event);
  });
  const drag = (event) => {
    const box = stage.getBoundingClientRect();
    show(upDown ? (event.clientY - box.top) / box.height : (event.clientX - box.left) / box.width);
  };
  stage.addEventListener('pointermove', (event) => { if (event.buttons) drag(event); });

  // The phone as it was held first is the middle; a quarter of a right angle to each side shows the ends.
  const REACH = 22.5;
  let middle = null;
  const turned = ({ beta, gamma }) => {
    if (beta === null || gamma === null) return;
    const [across, down] = {
      0: [gamma, beta], 90: [beta, -gamma], 180: [-gamma, -beta], 270: [-beta, gamma],
    }[screen.orientation?.angle ?? 0] ?? [gamma, beta];
    const now = upDown ? down : across;
    middle ??= now;
    show(.5 + (now - middle) / (2 * REACH));
  };
  const say = (words) => {
    offer.textContent = words;
    offer.classList.add('ready');
  };
  const listen = () => {
    removeEventListener('deviceorientation', known);
    middle = null;
    addEventListener('deviceorientation', turned);
    say('Tilt the phone, and the print flips.');
  };
  const asks = typeof DeviceOrientationEvent !== 'undefined' && DeviceOrientationEvent.requestPermission;
  const calm = matchMedia('(prefers-reduced-motion: reduce)').matches; // then only whoever asks for it gets it
  const known = ({ gamma }) => {
    if (gamma === null) return;
    if (calm) offer.classList.add('ready');
    else listen();
  };
  addEventListener('deviceorientation', known); // some phones tell without being asked
  if (asks && matchMedia('(pointer: coarse)').matches) offer.classList.add('ready');
  offer.querySelector('button').addEventListener('click', async () => {
    try {
      if (asks && await DeviceOrientationEvent.requestPermission() !== 'granted') throw new Error('not granted');
      listen();
    } catch {
      say('The phone does not tell how it is held: drag the picture or slide.');
    }
  });
  screen.orientation?.addEventListener?.('change', () => { middle = null; });
}
