//! A look into the shop from the thread that speaks HTTP: where the database is embedded a short look costs less than handing it to another
//! thread. Each of these threads keeps a window of its own.

use super::problem::Problem;
use crate::domain::shop::Shop;
use crate::ops::desk::{Desk, View, Window};
use crate::ops::failure::Failure;
use actix_web::HttpRequest;
use std::cell::RefCell;
use std::rc::Rc;

/// The window of a thread; closed where there is none, or it could not be opened.
#[derive(Clone, Default)]
pub struct Pane(Rc<RefCell<Option<Window>>>);

impl Pane {
    /// A window into the shop for this thread.
    pub fn of(desk: &Desk) -> Pane {
        let window = desk.window().unwrap_or_else(|error| {
            tracing::warn!(%error, "a thread has no window of its own and asks others");
            None
        });
        Pane(Rc::new(RefCell::new(window)))
    }

    /// The window of the thread that took a request.
    pub fn of_request(request: &HttpRequest) -> Pane {
        request.app_data::<Pane>().cloned().unwrap_or_default()
    }

    /// Looks through it, or gives the question back to be asked elsewhere.
    pub fn look<T, F>(&self, question: F) -> Result<Result<T, Problem>, F>
    where
        F: FnOnce(&mut View<'_>, &Shop) -> Result<T, Failure>,
    {
        // Nobody looks while he looks: a borrow would be a defect, and the other way is right as well.
        let Ok(mut window) = self.0.try_borrow_mut() else { return Err(question) };
        match window.as_mut() {
            Some(window) => Ok(window.look(question).map_err(Problem::from)),
            None => Err(question),
        }
    }
}
