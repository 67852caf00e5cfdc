//! The word that the server is about to end. Whatever would otherwise go on for ever (an event stream, a wait for news) holds a `Stopping`,
//! says goodbye when it comes, and ends: a stream left open would hold the end up until its time is over.

use std::future::Future;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::watch;

/// Hears that the server is about to end. Cheap to clone; handlers find it as `web::Data<Stopping>`.
#[derive(Debug, Clone)]
pub struct Stopping(watch::Receiver<bool>);

/// Says it, once.
#[derive(Debug)]
pub struct Stopper(watch::Sender<bool>);

impl Stopping {
    pub fn pair() -> (Stopper, Stopping) {
        let (sender, receiver) = watch::channel(false);
        (Stopper(sender), Stopping(receiver))
    }

    /// Whether the end has begun.
    pub fn begun(&self) -> bool {
        *self.0.borrow()
    }

    /// Comes back when the end has begun: at once when it had begun before, and also when nobody is left to say it.
    pub async fn begins(&mut self) {
        let _ = self.0.wait_for(|begun| *begun).await;
    }
}

impl Stopper {
    pub fn stop(&self) {
        self.0.send_replace(true);
    }
}

/// Waits for SIGTERM or SIGINT, from now on, and passes the word on. What it gives is done when the server has to stop taking connections.
pub fn on_signal() -> std::io::Result<(impl Future<Output = ()> + Send + 'static, Stopping)> {
    let (mut terminate, mut interrupt) = (signal(SignalKind::terminate())?, signal(SignalKind::interrupt())?);
    let (stopper, stopping) = Stopping::pair();
    let told = async move {
        tokio::select! {
            _ = terminate.recv() => tracing::info!("SIGTERM: finishing what is under way"),
            _ = interrupt.recv() => tracing::info!("SIGINT: finishing what is under way"),
        }
        stopper.stop();
    };
    Ok((told, stopping))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everyone_who_holds_it_hears_it_early_or_late() {
        let (stopper, stopping) = Stopping::pair();
        let (mut early, mut late) = (stopping.clone(), stopping.clone());
        actix_web::rt::System::new().block_on(async move {
            let waiting = actix_web::rt::spawn(async move { early.begins().await });
            tokio::task::yield_now().await;
            assert!(!stopping.begun() && !waiting.is_finished());
            stopper.stop();
            assert!(waiting.await.is_ok() && stopping.begun());
            late.begins().await;
            drop(stopper);
            assert!(stopping.begun(), "the word outlives who said it");
        });
    }

    #[test]
    fn nobody_waits_for_a_word_that_cannot_come() {
        let (stopper, mut stopping) = Stopping::pair();
        drop(stopper);
        actix_web::rt::System::new().block_on(stopping.begins());
    }
}
