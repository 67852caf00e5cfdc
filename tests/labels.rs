//! Labels as a printer and a scanner see them.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing, reason = "tests stop at a surprise")]

#[path = "labels/ground.rs"]
mod ground;

use ground::{akami, markdown, stock, tub};
use sakudana::domain::label_fields::Field;
use sakudana::labels::layout::lay_out;
use sakudana::labels::stock::Dpi;
use sakudana::labels::text::Fonts;

#[test]
fn usual_labels_fit_the_standard_stock() {
    for label in [akami(), markdown(), tub()] {
        let layout = lay_out(Fonts::standard(), &label, &stock("80x50", Dpi::D300)).unwrap_or_else(|r| panic!("{r}"));
        let picture = layout.paint(Fonts::standard());
        let (width, height) = (picture.width() as usize, picture.height() as usize);
        let black = |x: usize, y: usize| picture.is_black(x as i32, y as i32);
        let mut prepared = rqrr::PreparedImage::prepare_from_bitmap(width, height, black);
        assert_eq!(prepared.detect_grids()[0].decode().unwrap().1, label.text(Field::QrText));
    }
}
