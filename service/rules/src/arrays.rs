//! Arrays that a script's own function fills. The engine holds their size when they are whole; these hold it while they
//! grow, since within each element another may be growing.

use rhai::{Array, Dynamic, Engine, EvalAltResult, FnPtr, INT, Map, NativeCallContext, Position};

use crate::host::LIMITS;

type Answer<T> = Result<T, Box<EvalAltResult>>;

/// Takes the place of the engine's `map` and `zip`.
pub(crate) fn register(engine: &mut Engine) {
    engine.register_fn("map", |context: NativeCallContext, array: &mut Array, call: FnPtr| {
        let each = |(place, item): (usize, &mut Dynamic)| {
            call.call_raw_with_extra_args("map", &context, Some(item), [], [index(place)], Some(0))
        };
        held(array.iter_mut().enumerate().map(each))
    });
    engine.register_fn("zip", |context: NativeCallContext, array: &mut Array, other: Array, call: FnPtr| {
        let each = |(place, (item, with)): (usize, (&mut Dynamic, Dynamic))| {
            call.call_raw_with_extra_args("zip", &context, None, [item.clone(), with], [index(place)], None)
        };
        held(array.iter_mut().zip(other).enumerate().map(each))
    });
}

fn index(place: usize) -> Dynamic {
    // An array is far shorter than the largest number.
    (place as INT).into()
}

fn held(answers: impl Iterator<Item = Answer<Dynamic>>) -> Answer<Array> {
    let (mut array, mut within) = (Array::new(), 0);
    for answer in answers {
        let answer = answer?;
        within += 1 + parts(&answer);
        if within > LIMITS.array_len {
            return Err(EvalAltResult::ErrorDataTooLarge("Size of array/BLOB".into(), Position::NONE).into());
        }
        array.push(answer);
    }
    Ok(array)
}

/// Values within a value.
fn parts(value: &Dynamic) -> usize {
    if let Some(array) = value.read_lock::<Array>() {
        return array.iter().map(|part| 1 + parts(part)).sum();
    }
    let map = value.read_lock::<Map>();
    map.map_or(0, |map| map.values().map(|part| 1 + parts(part)).sum())
}
