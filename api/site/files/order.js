/* The order form: shows what matters, asks for the price while one chooses, sends once. Without it the form works too. */
(() => {
  "use strict";

  const WAIT_MS = 150;
  const AGAIN_MS = [500, 2000, 5000];
  const own = document.currentScript;

  const values = (form, name) =>
    [...form.elements].filter((one) => one.name === name && !(/^(checkbox|radio)$/.test(one.type) && !one.checked)).map((one) => one.value);

  /* A part whose condition does not hold is hidden, and not sent. */
  const showWhatMatters = (form) => {
    const size = values(form, "size")[0];
    for (const option of form.querySelectorAll("option[data-sizes]")) {
      const fits = size === undefined || option.dataset.sizes.split("|").includes(size);
      option.hidden = option.disabled = !fits;
      if (!fits && option.selected) {
        const first = [...option.parentElement.options].find((one) => !one.dataset.sizes || one.dataset.sizes.split("|").includes(size));
        option.parentElement.value = first ? first.value : "";
      }
    }
    for (const part of form.querySelectorAll("[data-when], [data-when-not], [data-when-any]")) {
      const [rule, negated] = part.dataset.when !== undefined ? [part.dataset.when, false] : [part.dataset.whenNot || part.dataset.whenAny + "=", true];
      const cut = rule.indexOf("=");
      const told = values(form, rule.slice(0, cut));
      const wanted = rule.slice(cut + 1).split("|");
      const known = [...form.elements].some((one) => one.name === rule.slice(0, cut));
      const holds = !known || told.some((one) => wanted.includes(one)) !== negated;
      part.hidden = !holds;
      for (const field of part.querySelectorAll("input, select, textarea")) {
        if (field.closest("[data-when], [data-when-not], [data-when-any]") === part) field.disabled = !holds;
        else if (!holds) field.disabled = true;
      }
    }
    for (const part of form.querySelectorAll("[data-when-ink]")) {
      const [name, place] = part.dataset.whenInk.split(":");
      const field = part.querySelector("input");
      part.hidden = !values(form, name)[place];
      field.disabled = part.hidden || Boolean(part.closest("[hidden]"));
    }
    for (const select of form.querySelectorAll("select")) {
      const field = select.closest(".of-field");
      const offered = [...select.options].filter((one) => !one.disabled);
      if (field && select.options.length > 1 && offered.length === 1 && offered[0].dataset.sizes) field.hidden = true;
      else if (field) field.hidden = false;
    }
  };

  const enhance = (form, headers, base) => {
    const box = form.querySelector("[data-price-box]");
    const result = form.querySelector("[data-result]");
    const now = form.querySelector("[data-now]");
    const touched = new Set();
    let timer = 0;
    let asking = null;
    let measuring = null;

    const address = (path) => new URL(path, base).href;
    const filled = () => new URLSearchParams(new FormData(form));

    const markFaults = () => {
      for (const field of form.querySelectorAll(".of-wrong")) {
        field.classList.remove("of-wrong");
        field.querySelector(".of-fault")?.remove();
        for (const one of field.querySelectorAll("[aria-invalid]")) one.removeAttribute("aria-invalid");
      }
      for (const fault of form.querySelectorAll("[data-faults] [data-field], .of-faults [data-field]")) {
        const field = [...form.querySelectorAll(".of-field")].find((one) => one.dataset.field === fault.dataset.field);
        if (!field || !touched.has(fault.dataset.field)) continue;
        field.classList.add("of-wrong");
        const words = document.createElement("p");
        words.className = "of-fault";
        words.textContent = fault.querySelector("span")?.textContent ?? fault.textContent;
        field.append(words);
        for (const one of field.querySelectorAll("input, select, textarea")) one.setAttribute("aria-invalid", "true");
      }
    };

    const price = async () => {
      asking?.abort();
      const mine = (asking = new AbortController());
      box.setAttribute("aria-busy", "true");
      try {
        const answer = await fetch(address(form.dataset.price), { method: "POST", body: filled(), headers, signal: mine.signal, credentials: "omit" });
        const page = await answer.text();
        if (mine.signal.aborted) return;
        if (answer.headers.get("content-type")?.startsWith("text/html")) box.innerHTML = page;
        else box.textContent = form.dataset.offline;
        const cells = [...(box.querySelector("tbody tr")?.cells ?? [])];
        now.textContent = cells.length ? `${cells[0].textContent} · ${cells.at(-1).textContent}` : "";
        markFaults();
      } catch (error) {
        if (error.name !== "AbortError") box.textContent = form.dataset.offline;
      } finally {
        if (mine === asking) box.removeAttribute("aria-busy");
      }
    };

    const changed = (event) => {
      const field = event.target.closest(".of-field");
      if (field) touched.add(field.dataset.field);
      if (event.target.type === "file") {
        measuring = measure(event.target, field);
        return;
      }
      showWhatMatters(form);
      clearTimeout(timer);
      timer = setTimeout(price, event.type === "input" ? WAIT_MS * 2 : WAIT_MS);
    };

    /* A file is measured where it stands; what it is known by then goes with the form. */
    const measure = async (field, part) => {
      const told = part.querySelector("[data-measured]");
      const known = part.querySelector("input[type=hidden]");
      const file = field.files[0];
      known.value = "";
      field.removeAttribute("aria-invalid");
      told.textContent = file ? part.dataset.measuring : "";
      const refuse = (words) => {
        told.textContent = words;
        field.setAttribute("aria-invalid", "true");
      };
      if (file && file.size > Number(part.dataset.most)) refuse(part.dataset.tooLarge);
      else if (file) {
        const to = new URL(address(part.dataset.upload));
        to.searchParams.set("name", file.name.slice(-200));
        try {
          const answer = await fetch(to, { method: "POST", body: file, headers: { ...headers, "Content-Type": file.type || "application/pdf" }, credentials: "omit" });
          const page = await answer.text();
          if (field.files[0] !== file) return;
          if (!answer.ok || !answer.headers.get("content-type")?.startsWith("text/html")) throw new Error(String(answer.status));
          told.innerHTML = page;
          known.value = told.querySelector("[data-artwork-file]")?.dataset.artworkFile ?? "";
          if (!known.value) field.setAttribute("aria-invalid", "true");
        } catch {
          if (field.files[0] === file) refuse(part.dataset.unsent);
        }
      }
      showWhatMatters(form);
      await price();
    };

    const send = async () => {
      const sending = { method: "POST", body: filled(), credentials: "omit", headers: { ...headers, "Idempotency-Key": form.elements.token.value } };
      for (let time = 0; ; time += 1) {
        try {
          return await fetch(address(form.dataset.send), sending);
        } catch (error) {
          if (time >= AGAIN_MS.length) throw error;
          await new Promise((done) => setTimeout(done, AGAIN_MS[time]));
        }
      }
    };

    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const button = form.querySelector("button[value=send]");
      if (button.disabled) return;
      button.disabled = true;
      result.textContent = form.dataset.sending;
      try {
        await measuring;
        const answer = await send();
        const page = await answer.text();
        if (!answer.headers.get("content-type")?.startsWith("text/html")) throw new Error(String(answer.status));
        result.textContent = "";
        if (answer.status === 201) {
          const sent = document.createElement("div");
          sent.innerHTML = page;
          form.replaceWith(sent);
          sent.querySelector(".of-sent")?.focus();
          return;
        }
        box.innerHTML = page;
        for (const fault of form.querySelectorAll("[data-faults] [data-field]")) touched.add(fault.dataset.field);
        markFaults();
        form.querySelector(".of-wrong input, .of-wrong select, .of-wrong textarea")?.focus();
      } catch {
        result.textContent = form.dataset.again;
      }
      button.disabled = false;
    });
    form.addEventListener("change", changed);
    form.addEventListener("input", (event) => {
      if (/^(text|email|number|date|textarea)$/.test(event.target.type)) changed(event);
    });
    for (const part of form.querySelectorAll("[data-upload]")) part.hidden = false;
    form.querySelector("[data-without-script]")?.remove();
    showWhatMatters(form);
    price();
  };

  /* One tag in a shop's own page: <script src=".../order.js" data-key="…" data-product="coasters" defer></script> */
  const embed = async () => {
    const base = new URL(own.src);
    const home = base.href.replace(/\/order\/files\/.*$/, "/order");
    const style = document.createElement("link");
    style.rel = "stylesheet";
    style.href = `${home}/files/order.css`;
    document.head.append(style);
    const headers = own.dataset.key ? { Authorization: `Bearer ${own.dataset.key}` } : {};
    const place = document.createElement("div");
    place.className = "of-place";
    own.after(place);
    const language = own.dataset.locale || document.documentElement.lang || "";
    try {
      const answer = await fetch(`${home}/${encodeURIComponent(own.dataset.product)}/form?locale=${encodeURIComponent(language)}`, { headers, credentials: "omit" });
      if (!answer.ok) throw new Error(String(answer.status));
      place.innerHTML = await answer.text();
      enhance(place.querySelector("form"), headers, base);
    } catch {
      const link = document.createElement("a");
      link.href = `${home}/${encodeURIComponent(own.dataset.product)}`;
      link.textContent = own.dataset.instead || link.href;
      place.replaceChildren(link);
    }
  };

  if (own?.dataset.product) embed();
  else for (const form of document.querySelectorAll("form[data-order-form]")) enhance(form, {}, document.baseURI);
})();
