//! Measuring in a browser: figures that are typed, the microphone, and taps on a photo.

use serde_json::{Value, json};

use crate::harness::{Browser, PHONE, Shop};

#[tokio::test]
async fn figures_that_are_typed_are_told_with_their_doubt_and_kept_as_a_reading() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/measure?machine=bowline")).await;
    browser.press("The backlash of an axis").await;
    browser.fill("Reached from below", "10.00 10.01 nine").await;
    browser.press_in("/measure/backlash", "Measure it").await;
    browser.shows_soon(&["\"nine\" is no number"]).await;
    browser.fill("Reached from below", "10.00 10.01 9.99").await;
    browser.fill("Reached from above", "10.08 10.09 10.10").await;
    browser.press_in("/measure/backlash", "Measure it").await;
    // 10.09 less 10.00; each mean of three is uncertain by 0.01/√3 (GUM 4.2.3), their difference by √2 of that.
    browser.shows_soon(&["0.0900 ± 0.0082 mm"]).await;
    browser.photograph("measured").await;
    let before = shop.run(&["history", "bowline", "--json"]);
    assert!(!before.contains("backlash"), "nothing is recorded before it is kept");
    browser.fill("At which part", "x rods").await;
    browser.press("Keep as a reading").await;
    browser.shows_soon(&["x rods on bowline"]).await;
    let kept: Value = serde_json::from_str(&shop.run(&["history", "bowline", "--most", "1", "--json"])).expect("JSON");
    assert_eq!((&kept[0]["kind"], &kept[0]["note"]), (&json!("reading"), &json!("± 0.0082 mm")), "{kept}");
    browser.close().await;
}

#[tokio::test]
async fn the_microphone_is_recorded_as_a_file_that_goes_into_the_form() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/measure")).await;
    browser.press("The tension of a belt").await;
    browser.press("Record it with this device").await;
    browser.shows_soon(&["Recorded, 4 s."]).await;
    let script = "const done = arguments[arguments.length - 1];
        const file = document.getElementById('belt-recording').files[0];
        file.arrayBuffer().then(bytes => { const view = new DataView(bytes);
            done([file.name, String.fromCharCode(...new Uint8Array(bytes, 0, 4)), view.getUint16(34, true),
                  view.getUint32(40, true) / view.getUint32(28, true), bytes.byteLength - view.getUint32(40, true)]); });";
    let heard = browser.client.execute_async(script, Vec::new()).await.expect("the script runs");
    assert_eq!((&heard[0], &heard[1], &heard[2]), (&json!("pluck.wav"), &json!("RIFF"), &json!(16)), "{heard}");
    let seconds = heard[3].as_f64().expect("a length");
    assert!((3.0..5.0).contains(&seconds), "{seconds} s of sound");
    assert_eq!(heard[4], 44, "the head of a WAV file");
    browser.press_in("/measure/belt", "Measure it").await;
    // It beeps as loudly as it can, and that is told: the file was read.
    browser.shows_soon(&["samples are clipped"]).await;
    browser.close().await;
}

#[tokio::test]
async fn four_taps_on_a_photo_set_its_scale_and_its_line() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/measure")).await;
    browser.press("Marks that come back").await;
    // Stripes 20 pixels apart.
    let script = "const done = arguments[arguments.length - 1];
        const canvas = document.createElement('canvas'); canvas.width = 800; canvas.height = 200;
        const pen = canvas.getContext('2d'); pen.fillStyle = '#fff'; pen.fillRect(0, 0, 800, 200); pen.fillStyle = '#000';
        for (let x = 0; x < 800; x += 20) pen.fillRect(x, 0, 10, 200);
        canvas.toBlob(blob => {
            const files = new DataTransfer(); files.items.add(new File([blob], 'wall.png', { type: 'image/png' }));
            const field = document.getElementById('marks-photo'); field.files = files.files;
            document.querySelector('.taps img').addEventListener('load', () => done(true));
            field.dispatchEvent(new Event('change', { bubbles: true }));
        });";
    browser.client.execute_async(script, Vec::new()).await.expect("the photo is chosen");
    browser.fill("A length that can be seen in it", "100").await;
    browser.shows("Tap one end of a length that you know.").await;
    let taps = "const image = document.querySelector('.taps img'), seen = image.getBoundingClientRect(), scale = seen.width / 800;
        for (const [x, y] of [[100, 50], [600, 50], [0, 100], [799, 100]]) {
            image.dispatchEvent(new MouseEvent('click', { bubbles: true, clientX: seen.left + x * scale, clientY: seen.top + y * scale }));
        }
        return ['mm_per_pixel', 'from', 'to'].map(name => image.closest('form').elements[name].value)";
    let set = browser.ask(taps).await;
    let scale: f64 = set[0].as_str().and_then(|text| text.parse().ok()).expect("a scale");
    assert!((scale - 0.2).abs() < 1e-3, "100 mm over 500 pixels: {set}");
    browser.photograph("measure-taps").await;
    browser.press_in("/measure/marks", "Measure it").await;
    // 20 pixels of 0.2 mm.
    browser.shows_soon(&["The marks come back every 4.0", "The marks come back every 3.99"]).await;
    browser.close().await;
}
