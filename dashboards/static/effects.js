// What putting something down would do: asked of the server a moment after the last wish, and only the newest answer counts.

const PAUSE_MS = 120;

export function asker(address, told) {
  let timer = 0;
  let running = null;

  function stop() {
    clearTimeout(timer);
    running?.abort();
    running = null;
  }

  function ask(query) {
    stop();
    told(null);
    timer = setTimeout(async () => {
      const mine = new AbortController();
      running = mine;
      try {
        const answer = await fetch(`${address}?${query}`, { signal: mine.signal, headers: { Accept: "application/json" } });
        const said = await answer.json();
        if (running !== mine) return;
        told(answer.ok ? said : { what: "", effects: [], refused: [said.detail || said.title], over: null });
      } catch (error) {
        if (error.name !== "AbortError" && running === mine) {
          told({ what: "", effects: [], refused: ["the server gave no answer; try again"], over: null });
        }
      }
    }, PAUSE_MS);
  }

  return { ask, stop };
}

// The words, as the page without script has them.
export function write(element, said) {
  element.replaceChildren();
  if (said === null) {
    element.append(line("p", "Working it out …", "caption"));
    return;
  }
  if (said.what) element.append(line("p", said.what));
  if (said.refused.length) {
    element.append(line("p", `It cannot be: ${said.refused.join("; ")}.`, "note"));
  }
  if (said.effects.length) {
    const list = line("ul", "", "plain");
    list.append(...said.effects.map((words) => line("li", words)));
    element.append(list);
  }
}

function line(name, words, kind = "") {
  const made = document.createElement(name);
  made.append(...dated(words));
  if (kind) made.className = kind;
  return made;
}

// A day is not broken at the end of a line.
function dated(words) {
  return words.split(/(\d{4}-\d{2}-\d{2})/).map((part, number) => {
    if (number % 2 === 0) return part;
    const day = document.createElement("span");
    day.className = "nowrap";
    day.textContent = part;
    return day;
  });
}
