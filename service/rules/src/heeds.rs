//! What a rate heeds of the air: half of all rules go by the temperature alone, and need not be asked anew at every humidity.

use rhai::{AST, ASTNode, Expr};

/// Whether every `rate` of a script reads nothing of its air but the temperature: wherever it names the air, `.temp_c`
/// follows. Handed on, kept, listed or asked for anything else, the air may be heeded whole. No other way leads to it:
/// functions see their arguments alone.
pub(crate) fn temperature_alone(ast: &AST) -> bool {
    let rates = ast.iter_functions().filter(|function| function.name == "rate");
    let mut airs = rates.filter_map(|function| function.params.first().copied());
    let mut bodies = ast.clone();
    bodies.retain_functions(|_, _, name, _| name == "rate");
    airs.all(|air| {
        let (mut named, mut warmth) = (0, 0);
        bodies.walk(&mut |path| {
            match path.last() {
                Some(ASTNode::Expr(expr)) if is_named(expr, air) => named += 1,
                Some(ASTNode::Expr(Expr::Dot(both, ..))) if is_named(&both.lhs, air) && begins_warm(&both.rhs) => {
                    warmth += 1;
                }
                _ => {}
            }
            true
        });
        named == warmth
    })
}

fn is_named(expr: &Expr, name: &str) -> bool {
    matches!(expr, Expr::Variable(variable, ..) if variable.1 == name)
}

/// Whether what follows a dot is the temperature, or something of it.
fn begins_warm(behind: &Expr) -> bool {
    match behind {
        Expr::Property(property, ..) => property.2 == "temp_c",
        Expr::Dot(both, ..) | Expr::Index(both, ..) => begins_warm(&both.lhs),
        _ => false,
    }
}
