'use strict';
document.getElementById('look').addEventListener('click', () => {
  const root = document.documentElement;
  const dark = root.dataset.look ? root.dataset.look === 'dark' : matchMedia('(prefers-color-scheme: dark)').matches;
  root.dataset.look = dark ? 'light' : 'dark';
});
for (const box of document.querySelectorAll('.layers input')) {
  box.addEventListener('change', () => document.body.classList.toggle(`no-${box.value}`, !box.checked));
}
