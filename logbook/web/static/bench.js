// Adds to pages that work without it: the flip under the finger, progress, names of dropped files.
'use strict';

for (const flipper of document.querySelectorAll('.flipper')) {
  const stage = flipper.querySelector('.ridged');
  const canvas = stage.querySelector('canvas');
  const slider = flipper.querySelector('input');
  const { stack, views, way } = flipper.dataset;
  const calm = matchMedia('(prefers-reduced-motion: reduce)'); // then only what is held down or slid moves it
  const image = new Image();
  let drawn = -1;
  const draw = () => {
    const at = slider.valueAsNumber;
    if (at === drawn || !image.naturalHeight) return;
    const high = image.naturalHeight / views;
    canvas.getContext('2d').drawImage(image, 0, at * high, image.naturalWidth, high, 0, 0, canvas.width, canvas.height);
    slider.setAttribute('aria-valuetext', `view ${at + 1} of ${views}`);
    flipper.dataset.shown = drawn = at;
  };
  // what is to be looked at first is accepted once it can be seen, or cannot be drawn at all
  const after = flipper.dataset.first ? [...document.querySelectorAll('[data-after]')] : [];
  const waiting = (yes) => {
    stage.classList.toggle('drawing', yes);
    for (const form of after) form.querySelector('button').setAttribute('aria-disabled', yes);
  };
  for (const form of after) {
    form.addEventListener('submit', (event) => {
      if (!stage.classList.contains('drawing')) return;
      event.preventDefault();
      stage.scrollIntoView({ block: 'center' });
    });
  }
  image.addEventListener('load', () => { waiting(false); draw(); });
  image.addEventListener('error', () => waiting(false));
  slider.addEventListener('input', draw);
  stage.addEventListener('pointermove', (event) => {
    if (calm.matches && !event.buttons) return;
    const box = stage.getBoundingClientRect();
    const part = way === 'up-down' ? (event.clientY - box.top) / box.height : (event.clientX - box.left) / box.width;
    slider.value = Math.floor(part * views);
    requestAnimationFrame(draw);
  });
  const begin = () => { waiting(true); image.src = stack; };
  const around = flipper.closest('details:not([open])'); // one that is folded away is fetched once it is opened
  if (around) around.addEventListener('toggle', begin, { once: true });
  else begin();
}

for (const drop of document.querySelectorAll('.drop')) {
  const input = drop.querySelector('input[type=file]');
  const list = drop.querySelector('.chosen');
  const name = () => {
    if (list) list.replaceChildren(...[...input.files].map((file) => Object.assign(document.createElement('li'), { textContent: file.name })));
  };
  input.addEventListener('change', name);
  drop.addEventListener('dragover', (event) => { event.preventDefault(); drop.classList.add('over'); });
  drop.addEventListener('dragleave', () => drop.classList.remove('over'));
  drop.addEventListener('drop', (event) => {
    event.preventDefault();
    drop.classList.remove('over');
    const files = new DataTransfer();
    for (const file of [...(input.multiple ? input.files : []), ...event.dataTransfer.files]) files.items.add(file);
    input.files = files.files;
    name();
  });
}

for (const box of document.querySelectorAll('[data-run]')) {
  const bar = box.querySelector('progress');
  const left = box.querySelector('.left');
  const stands = box.querySelector('.state span');
  const ask = async () => {
    try {
      const answer = await fetch(box.dataset.run);
      if (answer.redirected) { // the sign-in is over: its page says so
        location.reload();
        return;
      }
      const state = await answer.json();
      bar.value = state.progress;
      if (stands) stands.textContent = state.state;
      if (state.state !== 'waiting' && state.state !== 'running') {
        location.reload();
        return;
      }
      if (left && state.started && state.progress > 5) {
        const spent = (Date.now() - Date.parse(state.started)) / 1000;
        left.textContent = `about ${Math.max(1, Math.round(spent * (100 - state.progress) / state.progress))} s left`;
      }
    } catch { /* the network is away for a moment: ask again */ }
    setTimeout(ask, document.hidden ? 5000 : 700);
  };
  setTimeout(ask, 500);
}

// a page that was sent back opens at what it asks: on a bench page that stands below all the cautions
const asked = document.querySelector('main [aria-invalid=true]') ?? document.querySelector('main .fault[role=alert]');
const aimed = location.hash ? document.getElementById(location.hash.slice(1)) : document.body;
if (asked && aimed?.contains(asked)) asked.scrollIntoView({ block: 'center' });

for (const box of document.querySelectorAll('.copied')) {
  const button = box.querySelector('button.copy');
  const text = box.querySelector('textarea');
  button.classList.add('ready'); // its room is kept from the start, so that nothing moves
  button.addEventListener('click', async () => {
    text.select();
    try {
      await navigator.clipboard.writeText(text.value);
    } catch { // an address without a certificate has no clipboard of its own
      document.execCommand('copy');
    }
    button.textContent = 'Copied';
  });
}

for (const lay of document.querySelectorAll('.lay')) {
  const image = lay.querySelector('img');
  const form = document.querySelector('form [name=dx]')?.form;
  if (!form) continue;
  const fields = [form.elements.dx, form.elements.dy];
  const whole = (field) => Number.parseInt(field.value, 10) || 0;
  let waiting = 0;
  const show = () => {
    clearTimeout(waiting);
    waiting = setTimeout(() => {
      const address = new URL(image.src);
      fields.forEach((field) => address.searchParams.set(field.name, whole(field)));
      image.src = address.href;
    }, 60);
  };
  const move = (dx, dy) => {
    fields[0].value = whole(fields[0]) + dx;
    fields[1].value = whole(fields[1]) + dy;
    show();
  };
  const nudges = form.querySelector('.nudges');
  nudges.classList.add('ready'); // its room is kept from the start, so that nothing moves
  nudges.addEventListener('click', ({ target }) => {
    if (target.dataset.dx) move(Number(target.dataset.dx), Number(target.dataset.dy));
  });
  fields.forEach((field) => field.addEventListener('input', show));
  image.addEventListener('keydown', (event) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!way) return;
    event.preventDefault();
    move(...way.map((one) => one * (event.shiftKey ? 10 : 1)));
  });
  let from = null;
  image.addEventListener('dragstart', (event) => event.preventDefault());
  image.addEventListener('pointerdown', (event) => {
    image.setPointerCapture(event.pointerId);
    from = [event.clientX, event.clientY, ...fields.map(whole)];
  });
  image.addEventListener('pointermove', (event) => {
    if (!from) return;
    const box = image.getBoundingClientRect();
    fields[0].value = from[2] + Math.round((event.clientX - from[0]) * lay.dataset.across / box.width);
    fields[1].value = from[3] + Math.round((event.clientY - from[1]) * lay.dataset.down / box.height);
    show();
  });
  for (const end of ['pointerup', 'pointercancel']) image.addEventListener(end, () => { from = null; });
}

// What was typed into one form of a page is not lost without a word when another one is sent.
const forms = [...document.querySelectorAll('form[method=post]')];
const typed = (form) => [...form.elements].find((field) =>
  field.matches('input:not([type]), input[type=text], textarea') && field.value !== field.defaultValue);
for (const form of forms) {
  form.addEventListener('submit', (event) => {
    const left = forms.filter((one) => one !== form).map(typed).find(Boolean);
    if (!left) return;
    const name = left.labels?.[0]?.textContent.trim() ?? 'Something';
    if (confirm(`“${name}” was typed in another form of this page and is not kept yet. Go on without it?`)) return;
    event.preventDefault();
    left.focus();
  });
}
