// Has this browser told of alerts by push message: for a button with data-push="name of the person", and beside it an
// element with data-push-state that says in words how this browser stands.
"use strict";

(() => {
  const ASKED = "This browser can show the alerts of this shop while no page is open. It is not told yet.";

  // Why it cannot be told; empty where it can.
  const cannot = () => {
    if (!isSecureContext) return "This browser cannot be told: push messages need this page over https.";
    if (!("serviceWorker" in navigator && "PushManager" in window)) return "This browser knows no push messages.";
    if (Notification.permission === "denied") {
      return "This browser shows no notifications of this shop: allow them in its settings, then come back.";
    }
    return "";
  };

  // The id the service has a subscription under: the first 64 bits of the SHA-256 of its address.
  const idOf = async (endpoint) => {
    const hash = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(endpoint));
    return [...new Uint8Array(hash).slice(0, 8)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  };
  const own = async () => {
    const worker = await navigator.serviceWorker.getRegistration();
    const subscription = await worker?.pushManager.getSubscription();
    return subscription && idOf(subscription.endpoint);
  };

  const subscribe = async (person) => {
    await navigator.serviceWorker.register("/service-worker.js");
    const worker = await navigator.serviceWorker.ready;
    const { key } = await (await fetch("/api/v1/push-key")).json();
    const subscription = await worker.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: key });
    const answer = await fetch("/api/v1/push-subscriptions", {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify({ person, subscription }),
    });
    if (!answer.ok) throw new Error((await answer.json()).detail);
  };

  const look = async (button) => {
    const state = button.parentElement.querySelector("[data-push-state]");
    const say = (text, offers) => { state.textContent = text; button.hidden = !offers; };
    const why = cannot();
    if (why) return say(why, false);
    const is = await own();
    if (is && button.dataset.browsers.split(" ").includes(is)) return say("This browser is told.", false);
    say(ASKED, true);
    button.addEventListener("click", async () => {
      button.disabled = true;
      state.textContent = "This browser asks …";
      try {
        await subscribe(button.dataset.push);
        say("This browser is told from now on. Send a test to see it.", false);
      } catch (e) {
        say(`It did not work: ${cannot() || e.message}`, !cannot());
      }
      button.disabled = false;
    });
  };
  for (const button of document.querySelectorAll("[data-push]")) look(button);
})();
