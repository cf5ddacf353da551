// What a form does as it is filled in: an hour that is written down is meant, and what would be registered is said in one
// line beside the button, which stands above it on a phone.
"use strict";

(() => {
  const meant = ({ target: { name, value, form } }) => {
    const at = form.querySelector("[name=started][value=at]");
    if (name === "clock" && value && at) at.checked = true;
    if (name === "started" && value !== "at" && form.elements.clock) form.elements.clock.value = "";
  };

  const sum = (form) => {
    const place = form.querySelector("[data-sum]");
    if (!place) return;
    const chosen = ["joint", "material", "zone"].map((name) => form.elements[name]);
    const words = chosen.map((list) => (list?.value ? list.selectedOptions[0].text : ""));
    if (form.elements.new_joint?.value) words[0] = form.elements.new_joint.value;
    const clamps = [...form.querySelectorAll("[name=clamp]:checked")].map((e) => e.nextElementSibling.textContent);
    place.textContent = [...words, clamps.join(", ")].filter(Boolean).join(" · ");
  };

  addEventListener("input", (event) => {
    if (!event.target.form) return;
    meant(event);
    sum(event.target.form);
  });
})();
