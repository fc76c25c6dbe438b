// Adds to pages that work without it: the flip under the finger, progress, names of dropped files.
'use strict';

for (const flipper of document.querySelectorAll('.flipper')) {
  const stage = flipper.querySelector('.ridged');
  const images = [...stage.querySelectorAll('img')];
  const upDown = flipper.dataset.flip === 'up-down';
  let shown = 0;
  const show = (index) => {
    shown = Math.max(0, Math.min(images.length - 1, index));
    images.forEach((image, number) => image.classList.toggle('hidden', number !== shown));
  };
  stage.addEventListener('pointermove', (event) => {
    const box = stage.getBoundingClientRect();
    const part = upDown ? (event.clientY - box.top) / box.height : (event.clientX - box.left) / box.width;
    show(Math.floor(part * images.length));
  });
  stage.addEventListener('keydown', (event) => {
    const way = { ArrowLeft: -1, ArrowUp: -1, ArrowRight: 1, ArrowDown: 1 }[event.key];
    if (way) {
      event.preventDefault();
      show(shown + way);
    }
  });
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
  const ask = async () => {
    try {
      const state = await (await fetch(box.dataset.run)).json();
      bar.value = state.progress;
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

for (const box of document.querySelectorAll('.copied')) {
  const button = box.querySelector('button.copy');
  const text = box.querySelector('textarea');
  button.hidden = false;
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
