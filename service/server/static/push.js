// Subscribes this browser to push messages, for a button with data-push="name of the person".
"use strict";

const subscribePush = async (person) => {
  const worker = await navigator.serviceWorker.register("/service-worker.js");
  const { key } = await (await fetch("/api/v1/push-key")).json();
  const subscription = await worker.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: key });
  const answer = await fetch("/api/v1/push-subscriptions", {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify({ person, subscription }),
  });
  if (!answer.ok) throw new Error((await answer.json()).detail);
};

for (const button of document.querySelectorAll("[data-push]")) {
  const can = "serviceWorker" in navigator && "PushManager" in window;
  button.hidden = !can;
  button.addEventListener("click", async () => {
    button.disabled = true;
    try {
      await subscribePush(button.dataset.push);
      button.textContent = "This browser is told";
    } catch (e) {
      button.disabled = false;
      button.textContent = `It did not work: ${e.message}`;
    }
  });
}
