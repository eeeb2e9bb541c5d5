// What the scripts say, in the language of the page: English stands in the code, other words come with the page.
"use strict";
globalThis.say = (() => {
  const held = document.getElementById("script-words");
  const words = held ? JSON.parse(held.textContent) : {};
  return (text, parts = {}) => (words[text] || text).replace(/\{(\w+)\}/g, (all, name) => (name in parts ? String(parts[name]) : all));
})();
